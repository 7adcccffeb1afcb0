"""A picture of what came of a list: the outcomes as one bar, then the reasons, the most frequent first (SVG 1.1)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Any, Final, NamedTuple

_WIDTH: Final = 880
_MARGIN: Final = 24
_BAR: Final = 28
_LINE: Final = 26
_MOST_REASONS: Final = 12
_LABEL: Final = 400
_MOST_LETTERS: Final = 62


class _Share(NamedTuple):
    """A share of the rows: what it is called, how many, its color and that of letters on it."""

    name: str
    rows: int
    color: str
    ink: str


def picture(summary: Mapping[str, Any], says: Mapping[str, str], title: str) -> str:
    """Return the picture of a summary.

    Args:
        summary: what came of a list, as an answer has it.
        says: each rule in words, by id.
        title: what to write above it.
    """
    shares = [
        _Share("can be made", summary["buildable"], "#5f7f5a", "#ffffff"),
        _Share("the maker must agree", summary["sign_off"], "#d9a441", "#2b2b2b"),
        _Share("cannot be made", summary["refused"], "#a4483c", "#ffffff"),
        _Share("cannot be read", summary["unreadable"], "#8a8a8a", "#ffffff"),
    ]
    reasons = [each for each in summary["rules"] if each["severity"] in ("refuse", "sign_off")][:_MOST_REASONS]
    top = 92 + _BAR + 2 * _LINE
    height = top + max(1, len(reasons)) * _LINE + _MARGIN
    body = [*_outcomes(shares), *_reasons(reasons, says, top)]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}" height="{height}" viewBox="0 0 {_WIDTH} {height}"'
        f' font-family="sans-serif" font-size="14" role="img" aria-label="{_text(title)}">'
        f'<rect width="{_WIDTH}" height="{height}" fill="#faf8f4"/>'
        f'<text x="{_MARGIN}" y="36" font-size="18" font-weight="bold">{_text(title)}</text>'
        f'<text x="{_MARGIN}" y="60">{summary["rows"]} rows</text>{"".join(body)}</svg>\n'
    )


def _outcomes(shares: Sequence[_Share]) -> Iterator[str]:
    whole, at, y = sum(share.rows for share in shares), float(_MARGIN), 76
    for share in shares:
        if share.rows:
            width = (_WIDTH - 2 * _MARGIN) * share.rows / whole
            yield f'<rect x="{at:.1f}" y="{y}" width="{width:.1f}" height="{_BAR}" fill="{share.color}"/>'
            if width > 9 * len(str(share.rows)) + 8:
                yield (
                    f'<text x="{at + width / 2:.1f}" y="{y + 19}" fill="{share.ink}" text-anchor="middle">'
                    f"{share.rows}</text>"
                )
            at += width
    x = _MARGIN
    for share in shares:
        words = f"{share.name}: {share.rows}"
        yield f'<rect x="{x}" y="{y + _BAR + 12}" width="12" height="12" fill="{share.color}"/>'
        yield f'<text x="{x + 18}" y="{y + _BAR + 23}">{words}</text>'
        x += 44 + 8 * len(words)


def _reasons(reasons: Sequence[Mapping[str, Any]], says: Mapping[str, str], top: int) -> Iterator[str]:
    if not reasons:
        yield f'<text x="{_MARGIN}" y="{top + 18}">Nothing stands in the way of any row.</text>'
        return
    most = reasons[0]["rows"]
    for place, each in enumerate(reasons):
        y, said = top + place * _LINE, says.get(each["rule"], "")
        words = said if len(said) <= _MOST_LETTERS else said[: _MOST_LETTERS - 3].rstrip() + "..."
        width = max(2, (_WIDTH - 2 * _MARGIN - _LABEL - 120) * each["rows"] / most)
        color = "#a4483c" if each["severity"] == "refuse" else "#d9a441"
        yield f"<g><title>{_text(said)}</title>"
        yield f'<text x="{_MARGIN}" y="{y + 16}" font-weight="bold">{_text(each["rule"])}</text>'
        yield f'<text x="{_MARGIN + 72}" y="{y + 16}" font-size="12">{_text(words)}</text>'
        yield f'<rect x="{_MARGIN + _LABEL + 80}" y="{y + 3}" width="{width:.1f}" height="17" fill="{color}"/>'
        yield f'<text x="{_MARGIN + _LABEL + 86 + width:.1f}" y="{y + 16}">{each["rows"]}</text></g>'


def _text(said: str) -> str:
    return escape(said, quote=True)
