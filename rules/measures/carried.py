"""Measures of what else is carried, a notebook, a pen, and of where the piece itself is worn (FIT-11, FIT-13, FIT-14).

All of it is asked for by the spec alone: what is absent there is not looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from catalog.model import CarryItem, Number, Panel, Pattern, Pocket
from rules.case import Case
from rules.piece import OUTSIDE, Piece
from rules.spec import Notebook
from rules.subjects import Scope, Whole
from rules.vocabulary import Group, number, subject, truth

#: What each pocket of clothes is called in the names of its limits.
_WORN: Final = {"back_pocket": "back", "front_pocket": "front", "inside_pocket": "inside"}


def _of_use(pattern: Pattern, use: str) -> list[Pocket]:
    return [pocket for pocket in pattern.pockets.values() if pocket.use == use]


def _cover(pattern: Pattern) -> Panel:
    """Return the panel that bends round a notebook's back: the outer one at the spine, else the first outside."""
    if pattern.spine is not None:
        return pattern.panels[pattern.spine.panels[0]]
    return next(panel for panel in pattern.panels.values() if panel.part == OUTSIDE)


@dataclass(frozen=True)
class NotebookUse(Scope):
    """The notebook asked for, and the pocket with the widest gap at its spine."""

    asked: Notebook
    item: CarryItem | None
    pocket: Pocket | None
    cover: Panel

    @property
    def parts(self) -> tuple[str, ...]:
        """The part that bends round its back."""
        return (self.cover.part,)

    @property
    def at(self) -> tuple[str, ...]:
        """The carry list."""
        return ("/carry/notebook",)

    @property
    def params(self) -> dict[str, Any]:
        """The published size, if one is named."""
        return {} if self.item is None else {"item": self.item.code}

    @property
    def words(self) -> dict[str, str]:
        """The pattern's name."""
        return {"pattern": self.piece.called}


def _of_cover(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return ((_cover(pattern).part,),)


@subject("notebook", "the notebook asked for", ("pattern",), reads=["carry"], groups=_of_cover, only_with="carry")
def notebook(case: Case) -> Iterator[NotebookUse]:
    """List the notebook, if one is asked for."""
    asked = case.piece.spec.carry.notebook
    if asked is not None and case.pattern is not None:
        pocket = max(_of_use(case.pattern, "notebook"), key=lambda each: each.depth_um, default=None)
        yield NotebookUse(case, asked, _item(case.piece, asked.item, "notebook"), pocket, _cover(case.pattern))


def _item(piece: Piece, code: str | None, group: str) -> CarryItem | None:
    item = piece.indexes.carry_items.find(code)
    return item if item is not None and item.group == group else None


@truth("notebook.pocket", "the pattern takes a notebook", reads=["pattern"])
def notebook_pocket(use: NotebookUse) -> bool:
    """Whether there is a pocket for a notebook."""
    return use.pocket is not None


@number("notebook.width", "mm", "width of the notebook", reads=["carry"])
def notebook_width(use: NotebookUse) -> int | None:
    """Return its own width, else that of the published size, um."""
    own = use.asked.width_um
    return own if own is not None or use.item is None else use.item.width_um


@number("notebook.height", "mm", "height of the notebook", reads=["carry"])
def notebook_height(use: NotebookUse) -> int | None:
    """Return its own height, else that of the published size, um."""
    own = use.asked.height_um
    return own if own is not None or use.item is None else use.item.height_um


@truth("notebook.size_known", "width and height of the notebook are known", reads=["carry"])
def notebook_size_known(use: NotebookUse) -> bool:
    """Whether both are measured or published."""
    return notebook_width(use) is not None and notebook_height(use) is not None


@number("notebook.room_width", "mm", "room for a notebook's width", reads=["pattern"])
def notebook_room_width(use: NotebookUse) -> Number | None:
    """Return the pocket's width less the ease, um."""
    return None if use.pocket is None else use.pocket.width_um - use.piece.threshold("notebook_ease_mm")


@number("notebook.room_height", "mm", "room for a notebook's height", reads=["pattern"])
def notebook_room_height(use: NotebookUse) -> Number | None:
    """Return the pocket's height less the ease, um."""
    return None if use.pocket is None else use.pocket.height_um - use.piece.threshold("notebook_ease_mm")


@truth("notebook.block_known", "the thickness of the pages is known", reads=["carry"])
def notebook_block_known(use: NotebookUse) -> bool:
    """Whether somebody measured the pages."""
    return use.asked.block_um is not None


@number("notebook.bulk", "mm", "pages and leather on both sides of them", reads=["carry", "lots", "side"])
def notebook_bulk(use: NotebookUse) -> int | None:
    """Return the pages and twice the leather that bends round them, um; None while one of them is not known."""
    block, worked = use.asked.block_um, use.case.shape.thickness(use.cover.code)
    return None if block is None or worked is None else block + 2 * worked.used_um


@number("notebook.gap", "mm", "gap at the spine", reads=["pattern"])
def notebook_gap(use: NotebookUse) -> int | None:
    """Return the depth of the pocket, um."""
    return None if use.pocket is None else use.pocket.depth_um


@dataclass(frozen=True)
class ToolUse(Scope):
    """A pen, a comb or spectacles asked for, and the slips of the pattern."""

    place: int
    item: CarryItem
    slips: tuple[Pocket, ...]

    @property
    def at(self) -> tuple[str, ...]:
        """Its place in the carry list."""
        return (f"/carry/tools/{self.place}",)

    @property
    def params(self) -> dict[str, Any]:
        """The item."""
        return {"item": self.item.code}

    @property
    def words(self) -> dict[str, str]:
        """The item's name, and the pattern's."""
        return {"item": self.item.name.lower(), "pattern": self.piece.called}


@subject(
    "tool", "each pen, comb or pair of spectacles asked for", ("item", "pattern"), reads=["carry"], only_with="carry"
)
def tools(case: Case) -> Iterator[ToolUse]:
    """List the tools asked for whose item is known."""
    if case.pattern is None:
        return
    slips = tuple(_of_use(case.pattern, "tool"))
    for place, code in enumerate(case.piece.spec.carry.tools):
        item = _item(case.piece, code, "tool")
        if item is not None:
            yield ToolUse(case, place, item, slips)


@truth("tool.pocket", "the pattern has a slip for tools", reads=["pattern"])
def tool_pocket(use: ToolUse) -> bool:
    """Whether there is any slip."""
    return bool(use.slips)


@number("tool.margin", "mm", "room to spare round the tool", reads=["carry", "pattern"])
def tool_margin(use: ToolUse) -> int | None:
    """Return what the best slip has to spare along the tool and around it, um; under 0 it does not go in.

    A slip is flat: around a tool it must be as wide as the tool is wide and thick together.
    """
    longer, shorter = sorted((use.item.width_um, use.item.height_um), reverse=True)
    around = shorter + use.item.thickness_um
    return max((min(slip.height_um - longer, slip.width_um - around) for slip in use.slips), default=None)


@number("tool.asked", "count", "tools asked for", reads=["carry"])
def tools_asked(use: ToolUse) -> int:
    """Return how many pens, combs and pairs of spectacles are asked for."""
    return len(use.piece.spec.carry.tools)


@number("tool.slips", "count", "slips for tools", reads=["pattern"])
def tool_slips(use: ToolUse) -> int | None:
    """Return how many slips the pattern has; None where it has none, of which another clause speaks."""
    return sum(slip.count for slip in use.slips) or None


def _outline(piece: Piece) -> tuple[int, int] | None:
    """Return the longer and the shorter side of the closed piece, um."""
    closed = None if piece.pattern is None else piece.pattern.closed
    if closed is None or closed.width_um is None or closed.height_um is None:
        return None
    return max(closed.width_um, closed.height_um), min(closed.width_um, closed.height_um)


@number("piece.closed_long", "mm", "longer side of the closed piece", reads=["pattern"])
def closed_long(whole: Whole) -> int | None:
    """Return the longer side of the outline, um."""
    outline = _outline(whole.piece)
    return None if outline is None else outline[0]


@number("piece.closed_short", "mm", "shorter side of the closed piece", reads=["pattern"])
def closed_short(whole: Whole) -> int | None:
    """Return the shorter side of the outline, um."""
    outline = _outline(whole.piece)
    return None if outline is None else outline[1]


def _worn(piece: Piece, side: str) -> int | Fraction | None:
    worn_in = piece.spec.carry.worn_in
    return None if worn_in is None else piece.threshold(f"worn_{_WORN[worn_in]}_{side}_mm")


@number("piece.worn_long", "mm", "longest that is worn in the pocket named", reads=["carry"])
def worn_long(whole: Whole) -> Number | None:
    """Return the limit for the longer side, um; None where no pocket of clothes is named."""
    return _worn(whole.piece, "long")


@number("piece.worn_short", "mm", "widest that is worn in the pocket named", reads=["carry"])
def worn_short(whole: Whole) -> Number | None:
    """Return the limit for the shorter side, um; None where no pocket of clothes is named."""
    return _worn(whole.piece, "short")
