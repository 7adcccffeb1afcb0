"""A picture of what can be chosen of a pattern: every option of every slot, open, to be agreed or closed (SVG 1.1).

States are told apart by the shape of their mark and in words, so that nobody needs to see colors.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final, NamedTuple

from api.choices import Asking, choices_for
from api.svg import ASK, BAD, GOOD, MARGIN, Shade, fill, frame, text
from api.visibility import Caller
from rules.guide import guide
from rules.guide.summary import Summary, summaries_of
from rules.money import money
from rules.piece import Piece
from rules.shop import Shop
from rules.spec import Spec

_WIDTH: Final = 1000
_COLUMNS: Final = 5
_LINE: Final = 22
_BAR: Final = 10
_HEAD: Final = 164
_COLUMN: Final = (_WIDTH - 2 * MARGIN) // _COLUMNS
_MOST_LETTERS: Final = 24


class _State(NamedTuple):
    """How a state is told and drawn; ``mark`` is a path in a box of 14 x 14."""

    says: str
    shade: Shade
    mark: str


_STATES: Final[Mapping[str, _State]] = {
    "open": _State("can be made", GOOD, "M7 0A7 7 0 1 0 7.01 0Z"),
    "sign_off": _State("only if the maker agrees", ASK, "M7 -1L15 7L7 15L-1 7Z"),
    "closed": _State("cannot be made", BAD, "M0 0H14V14H0Z"),
}
#: Strokes on a mark, beside its shape.
_STROKES: Final = {"open": "M3.5 7.5L6 10L10.5 4.5", "sign_off": "M7 3V8M7 10V11.5", "closed": "M3 3L11 11M11 3L3 11"}


def choices_picture(shop: Shop, pattern: str, today: date) -> str:
    """Return the picture of a pattern of which one piece is asked and nothing is chosen yet.

    Args:
        shop: as it stands.
        pattern: code of a pattern that there is.
        today: the day.
    """
    spec = Spec(pattern=pattern)
    piece = shop.piece(spec)
    answer = choices_for(shop, spec, today, Asking(Caller.OWNER))
    guidance = guide(shop, spec, today)
    lines = _counted(piece, summaries_of(guidance)) if guidance.exact else ["Too entangled to be counted."]
    title = f"{piece.called}: what can be chosen"
    when = f"{today.isoformat()}, stock {answer['revisions']['stock']}, one piece, nothing chosen yet"
    body, y = list(_head(title, when, lines)), _HEAD
    for slot in answer["slots"]:
        body += _slot(slot, y)
        y += 2 * _LINE + _BAR + 10 + -(-len(slot["options"]) // _COLUMNS) * _LINE
    told = [f"{_named(slot['slot'])}: {_shares(_count(slot))}" for slot in answer["slots"]]
    return frame((_WIDTH, y + MARGIN), title, f"{when}. {' '.join(lines)} {'; '.join(told)}.", body)


def _counted(piece: Piece, found: Mapping[str, Summary]) -> list[str]:
    """Return in words how many specs there are, and between which totals."""
    currency = piece.catalog.workshop.currency
    own, more = found["open"], found["sign_off"]
    lines = [f"{own.specs:,} specs can be made"]
    if own.cheapest_minor is not None and own.dearest_minor is not None:
        lines[0] += f", from {money(piece, own.cheapest_minor)} to {money(piece, own.dearest_minor)} {currency}"
    lines[0] += f"; {more.specs - own.specs:,} more if the maker agrees."
    return [*lines, "Lots and the letters of a monogram are not told apart."]


def _head(title: str, when: str, lines: Sequence[str]) -> Iterator[str]:
    yield f'<text x="{MARGIN}" y="36" font-size="18" font-weight="bold">{text(title)}</text>'
    yield f'<text x="{MARGIN}" y="58" font-size="12">{text(when)}</text>'
    for place, line in enumerate(lines):
        yield f'<text x="{MARGIN}" y="{84 + 20 * place}">{text(line)}</text>'
    x = MARGIN
    for name, state in _STATES.items():
        yield _mark(name, x, 122)
        yield f'<text x="{x + 22}" y="134">{state.says}</text>'
        x += 60 + 8 * len(state.says)


def _mark(name: str, x: int, y: int) -> str:
    state = _STATES[name]
    return (
        f'<g transform="translate({x} {y})"><path d="{state.mark}" fill="{state.shade.color}"/>'
        f'<path d="{_STROKES[name]}" fill="none" stroke="{state.shade.ink}" stroke-width="1.8"/></g>'
    )


def _slot(slot: Mapping[str, Any], y: int) -> Iterator[str]:
    counts = _count(slot)
    yield f'<text x="{MARGIN}" y="{y + 14}" font-weight="bold">{text(_named(slot["slot"]))}</text>'
    yield f'<text x="{_WIDTH - MARGIN}" y="{y + 14}" font-size="12" text-anchor="end">{_shares(counts)}</text>'
    at, whole = float(MARGIN), _WIDTH - 2 * MARGIN
    for name, count in counts.items():
        width = whole * count / max(1, len(slot["options"]))
        shade = fill(_STATES[name].shade)
        if count:
            yield f'<rect x="{at:.1f}" y="{y + _LINE}" width="{width:.1f}" height="{_BAR}" fill="{shade}"/>'
        at += width
    for place, option in enumerate(slot["options"]):
        row, column = divmod(place, _COLUMNS)
        yield _option(slot["slot"], option, MARGIN + column * _COLUMN, y + _LINE + _BAR + 8 + row * _LINE)


def _option(pointer: str, option: Mapping[str, Any], x: int, y: int) -> str:
    state, label = option["state"], _label(pointer, option["value"])
    shown = label if len(label) <= _MOST_LETTERS else label[: _MOST_LETTERS - 3] + "..."
    struck = ' text-decoration="line-through"' if state == "closed" else ""
    says = " ".join(reason["says"] for reason in option.get("because", ())) or _STATES[state].says
    price = option.get("cheapest")
    words = f"{label}: {says}" if price is None else f"{label}: {says}, from {price}"
    return (
        f"<g><title>{text(words)}</title>{_mark(state, x, y)}"
        f'<text x="{x + 20}" y="{y + 12}" font-size="12"{struck}>{text(shown)}</text></g>'
    )


def _count(slot: Mapping[str, Any]) -> dict[str, int]:
    counts = Counter(option["state"] for option in slot["options"])
    return {name: counts[name] for name in _STATES}


def _shares(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{count} {_STATES[name].says}" for name, count in counts.items() if count)


def _named(pointer: str) -> str:
    """Return a slot in words."""
    head, _, name = pointer[1:].partition("/")
    words = f"{head} {name}" if head == "monogram" else name or head
    return words.removesuffix("_mm").replace("_", " ")


def _label(pointer: str, value: Any) -> str:
    """Return a value in few letters."""
    if value is None:
        return "nothing"
    if isinstance(value, Mapping):
        return str(value["leather"]) if value["side"] == "grain" else f"{value['leather']} {value['side']}"
    return f"{value} mm" if pointer.endswith("_mm") else str(value)
