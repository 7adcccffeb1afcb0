"""A picture of what came of a list: the outcomes as one bar, then the reasons, the most frequent first (SVG 1.1)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from api.svg import ASK, BAD, GOOD, MARGIN, UNREAD, Shade, fill, frame, text

_WIDTH: Final = 880
_BAR: Final = 28
_LINE: Final = 26
_MOST_REASONS: Final = 12
_LABEL: Final = 400
_MOST_LETTERS: Final = 62


class _Share(NamedTuple):
    """A share of the rows: what it is called, how many, how it is drawn."""

    name: str
    rows: int
    shade: Shade


def picture(summary: Mapping[str, Any], says: Mapping[str, str], title: str) -> str:
    """Return the picture of a summary.

    Args:
        summary: what came of a list, as an answer has it.
        says: each rule in words, by id.
        title: what to write above it.
    """
    shares = [
        _Share("can be made", summary["buildable"], GOOD),
        _Share("the maker must agree", summary["sign_off"], ASK),
        _Share("cannot be made", summary["refused"], BAD),
        _Share("cannot be read", summary["unreadable"], UNREAD),
    ]
    reasons = [each for each in summary["rules"] if each["severity"] in ("refuse", "sign_off")][:_MOST_REASONS]
    top = 92 + _BAR + 2 * _LINE
    height = top + max(1, len(reasons)) * _LINE + MARGIN
    head = (
        f'<text x="{MARGIN}" y="36" font-size="18" font-weight="bold">{text(title)}</text>'
        f'<text x="{MARGIN}" y="60">{summary["rows"]} rows</text>'
    )
    told = f"{summary['rows']} rows: {', '.join(f'{share.name}: {share.rows}' for share in shares)}."
    return frame((_WIDTH, height), title, told, [head, *_outcomes(shares), *_reasons(reasons, says, top)])


def _outcomes(shares: Sequence[_Share]) -> Iterator[str]:
    whole, at, y = sum(share.rows for share in shares), float(MARGIN), 76
    for share in shares:
        if share.rows:
            width = (_WIDTH - 2 * MARGIN) * share.rows / whole
            yield f'<rect x="{at:.1f}" y="{y}" width="{width:.1f}" height="{_BAR}" fill="{fill(share.shade)}"/>'
            if width > 9 * len(str(share.rows)) + 8:
                yield (
                    f'<text x="{at + width / 2:.1f}" y="{y + 19}" {_on(share.shade)} text-anchor="middle">'
                    f"{share.rows}</text>"
                )
            at += width
    x = MARGIN
    for share in shares:
        words = f"{share.name}: {share.rows}"
        yield f'<rect x="{x}" y="{y + _BAR + 12}" width="12" height="12" fill="{fill(share.shade)}"/>'
        yield f'<text x="{x + 18}" y="{y + _BAR + 23}">{words}</text>'
        x += 44 + 8 * len(words)


def _reasons(reasons: Sequence[Mapping[str, Any]], says: Mapping[str, str], top: int) -> Iterator[str]:
    if not reasons:
        yield f'<text x="{MARGIN}" y="{top + 18}">Nothing stands in the way of any row.</text>'
        return
    most = reasons[0]["rows"]
    for place, each in enumerate(reasons):
        y, said = top + place * _LINE, says.get(each["rule"], "")
        words = said if len(said) <= _MOST_LETTERS else said[: _MOST_LETTERS - 3].rstrip() + "..."
        width = max(2, (_WIDTH - 2 * MARGIN - _LABEL - 120) * each["rows"] / most)
        shade = BAD if each["severity"] == "refuse" else ASK
        yield f"<g><title>{text(said)}</title>"
        yield f'<text x="{MARGIN}" y="{y + 16}" font-weight="bold">{text(each["rule"])}</text>'
        yield f'<text x="{MARGIN + 72}" y="{y + 16}" font-size="12">{text(words)}</text>'
        yield f'<rect x="{MARGIN + _LABEL + 80}" y="{y + 3}" width="{width:.1f}" height="17" fill="{fill(shade)}"/>'
        yield f'<text x="{MARGIN + _LABEL + 86 + width:.1f}" y="{y + 16}">{each["rows"]}</text></g>'


def _on(shade: Shade) -> str:
    """Return how letters stand on a hatched area: with a rim of its color, so that no line runs through them."""
    return f'fill="{shade.ink}" stroke="{shade.color}" stroke-width="5" paint-order="stroke"'
