"""What rules are judged over: instances with their place in the spec and their words.

Every instance knows its case, the parts it depends on (``parts``), the JSON Pointers of what a customer would
change (``at``), the finding's ``subject`` and ``params``, and the words that a sentence may use.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Protocol

from catalog.model import Fold, Kind, Layer, Lot, Panel, Pattern, Seam
from rules.case import Case
from rules.piece import PartUse, Piece
from rules.shape import ThicknessUse
from rules.vocabulary import Group, subject


class Instance(Protocol):
    """What an evaluator needs of an instance."""

    @property
    def case(self) -> Case:
        """The case judged."""

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts whose lots it depends on."""

    @property
    def at(self) -> tuple[str, ...]:
        """JSON Pointers into the spec."""

    @property
    def subject(self) -> dict[str, Any]:
        """What the finding is about."""

    @property
    def params(self) -> dict[str, Any]:
        """Codes behind the sentence."""

    @property
    def words(self) -> dict[str, str]:
        """The words a sentence may use."""


def leather_name(part: PartUse | None) -> str:
    """Return a leather's name for a sentence."""
    return "the leather" if part is None or part.leather is None else part.leather.name


def pointers(parts: tuple[str, ...]) -> tuple[str, ...]:
    """Return the JSON Pointers of parts."""
    return tuple(f"/parts/{part}" for part in parts)


class Plain:
    """What rules are judged over, with plain defaults: no parts, nothing to say."""

    @property
    def parts(self) -> tuple[str, ...]:
        """Return the parts whose lots the instance depends on."""
        return ()

    @property
    def at(self) -> tuple[str, ...]:
        """Return JSON Pointers into the spec."""
        return pointers(self.parts)

    @property
    def subject(self) -> dict[str, Any]:
        """Return what the finding is about."""
        return {}

    @property
    def params(self) -> dict[str, Any]:
        """Return codes behind the sentence."""
        return {}

    @property
    def words(self) -> dict[str, str]:
        """Return the words a sentence may use."""
        return {}


@dataclass(frozen=True)
class Scope(Plain):
    """An instance in a case; the others build on it."""

    case: Case

    @property
    def piece(self) -> Piece:
        """The piece of the case."""
        return self.case.piece


@dataclass(frozen=True)
class Whole(Scope):
    """The whole piece."""

    @property
    def parts(self) -> tuple[str, ...]:
        """Every part."""
        return tuple(self.piece.parts)

    @property
    def at(self) -> tuple[str, ...]:
        """The whole spec."""
        return ("",)

    @property
    def words(self) -> dict[str, str]:
        """The names of pattern, outside, edge and thread."""
        piece = self.piece
        return {
            "pattern": "this piece" if piece.pattern is None else piece.pattern.name,
            "leather": leather_name(piece.outside),
            "edge": _edge_words(piece),
            "thread": "thread" if piece.thread is None else f"{piece.thread.color} thread",
            "stitch": piece.stitch or "stitch",
        }

    @property
    def params(self) -> dict[str, Any]:
        """Codes of edge and thread."""
        piece = self.piece
        return {
            "pattern": None if piece.pattern is None else piece.pattern.code,
            "edge": None if piece.edge is None else piece.edge.code,
            "thread": None if piece.thread is None else piece.thread.code,
        }


def _edge_words(piece: Piece) -> str:
    if piece.edge is None:
        return "edge"
    return piece.edge.finish if piece.edge.color == "self" else f"{piece.edge.color} {piece.edge.finish}"


@subject(
    "piece",
    "the whole piece",
    ("pattern", "leather", "edge", "thread", "stitch"),
    groups=lambda pattern, _: (pattern.parts,),
    of=("outside",),
    word_reads={read: [read] for read in ("leather", "edge", "thread", "stitch")},
)
def whole_piece(case: Case) -> Iterator[Whole]:
    """List the one whole piece, if its pattern is known."""
    if case.pattern is not None:
        yield Whole(case)


@dataclass(frozen=True)
class PartScope(Scope):
    """A part with a known leather."""

    part: PartUse
    kind: Kind

    @property
    def parts(self) -> tuple[str, ...]:
        """The part alone."""
        return (self.part.code,)

    @property
    def subject(self) -> dict[str, Any]:
        """The part."""
        return {"part": self.part.code}

    @property
    def params(self) -> dict[str, Any]:
        """The leather and its kind."""
        return {
            "leather": None if self.part.leather is None else self.part.leather.code,
            "kind": self.kind.code,
        }

    @property
    def words(self) -> dict[str, str]:
        """Part, leather, kind, side."""
        return {
            "part": self.part.code, "leather": leather_name(self.part), "kind": self.kind.name,
            "side": self.part.side, "species": self.kind.species,
        }  # fmt: skip


def _each_known_part(_: Pattern, leathers: Iterable[Group]) -> Iterable[Group]:
    return ((part,) for parts in leathers for part in parts)


@subject(
    "part",
    "each part",
    ("part", "leather", "kind", "side", "species"),
    groups=_each_known_part,
    shows=["leather", "side"],
)
def each_part(case: Case) -> Iterator[PartScope]:
    """List the parts whose leather is known."""
    for part in case.piece.parts.values():
        if part.kind is not None:
            yield PartScope(case, part, part.kind)


@dataclass(frozen=True)
class PanelUse(PartScope):
    """A panel, cut from one lot."""

    panel: Panel
    lot: Lot
    use: ThicknessUse

    @property
    def subject(self) -> dict[str, Any]:
        """Panel and lot."""
        return {"panel": self.panel.code, "lot": self.lot.code}

    @property
    def words(self) -> dict[str, str]:
        """Panel, lot, part, leather, and the range the panel takes."""
        least, most = self.panel.thickness.min_um / 1000, self.panel.thickness.max_um / 1000
        own = {
            "panel": self.panel.code.replace("_", " "),
            "lot": self.lot.code,
            "range": f"{least:g}-{most:g} mm",
        }
        return super().words | own


@subject(
    "panel",
    "each panel and lot",
    ("panel", "lot", "range", "part", "leather", "kind", "side", "species"),
    reads=["leather", "side", "lots"],
    groups=_each_known_part,
)
def each_panel(case: Case) -> Iterator[PanelUse]:
    """List each panel with each lot given to its part."""
    for panel in case.panels:
        for lot in case.lots_for(panel.part):
            yield panel_use(case, panel, lot)


def panel_use(case: Case, panel: Panel, lot: Lot) -> PanelUse:
    """Return a panel cut from a lot of its part's leather."""
    part, kind = case.piece.parts[panel.part], case.piece.catalog.leathers[lot.leather].kind
    return PanelUse(case, part, kind, panel, lot, case.shape.use_of(panel, lot))


@dataclass(frozen=True)
class SeamUse(Scope):
    """A seam with its stack."""

    seam: Seam

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts of its layers."""
        return parts_of(self.case.pattern, tuple(layer.panel for layer in self.seam.layers))

    @property
    def subject(self) -> dict[str, Any]:
        """The seam."""
        return {"seam": self.seam.code}

    @property
    def words(self) -> dict[str, str]:
        """The seam and the stitch."""
        return {"seam": self.seam.code.replace("_", " "), "stitch": self.piece.stitch or "this stitch"}


def parts_of(pattern: Pattern | None, panels: Iterable[str]) -> tuple[str, ...]:
    """Return the parts that panels belong to, each once, in order."""
    return () if pattern is None else tuple(dict.fromkeys(pattern.panels[panel].part for panel in panels))


def _of_seams(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return (parts_of(pattern, [layer.panel for layer in seam.layers]) for seam in pattern.seams.values())


def _of_layers(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return (parts_of(pattern, [layer.panel]) for seam in pattern.seams.values() for layer in seam.layers)


def _of_folds(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return (parts_of(pattern, fold.panels) for fold in pattern.folds.values())


@subject("seam", "each seam", ("seam", "stitch"), groups=_of_seams, shows=["stitch"])
def each_seam(case: Case) -> Iterator[SeamUse]:
    """List the pattern's seams."""
    if case.pattern is not None:
        yield from (SeamUse(case, seam) for seam in case.pattern.seams.values())


@dataclass(frozen=True)
class LayerUse(SeamUse):
    """A layer of a seam that the pattern pares first."""

    layer: Layer

    @property
    def parts(self) -> tuple[str, ...]:
        """The layer's part."""
        return parts_of(self.case.pattern, (self.layer.panel,))

    @property
    def subject(self) -> dict[str, Any]:
        """Seam and panel."""
        return {"seam": self.seam.code, "panel": self.layer.panel}

    @property
    def words(self) -> dict[str, str]:
        """Seam, panel, leather."""
        part = self.piece.parts[self.parts[0]]
        own = {"panel": self.layer.panel.replace("_", " "), "leather": leather_name(part)}
        return super().words | own


@subject(
    "layer",
    "each pared layer of a seam",
    ("seam", "stitch", "panel", "leather"),
    groups=_of_layers,
    shows=["stitch", "leather"],
)
def each_layer(case: Case) -> Iterator[LayerUse]:
    """List the layers that are pared in a seam."""
    for seam in each_seam(case):
        yield from (LayerUse(case, seam.seam, layer) for layer in seam.seam.layers if layer.skived_to_um is not None)


@dataclass(frozen=True)
class FoldUse(Scope):
    """A fold, the outer panel first."""

    fold: Fold

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts of its panels."""
        return parts_of(self.case.pattern, self.fold.panels)

    @property
    def outer(self) -> PartUse:
        """The part of the outer panel."""
        return self.piece.parts[self.parts[0]]

    @property
    def subject(self) -> dict[str, Any]:
        """The fold."""
        return {"fold": self.fold.code}

    @property
    def params(self) -> dict[str, Any]:
        """The outer leather."""
        return {"leather": None if self.outer.leather is None else self.outer.leather.code}

    @property
    def words(self) -> dict[str, str]:
        """Fold, outer leather, side."""
        return {
            "fold": self.fold.code.replace("_", " "),
            "leather": leather_name(self.outer),
            "side": self.outer.side,
        }


@subject("fold", "each fold", ("fold", "leather", "side"), groups=_of_folds, shows=["leather", "side"])
def each_fold(case: Case) -> Iterator[FoldUse]:
    """List the pattern's folds."""
    if case.pattern is not None:
        yield from (FoldUse(case, fold) for fold in case.pattern.folds.values())


@dataclass(frozen=True)
class SpineUse(Scope):
    """The stack at the spine."""

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts at the spine."""
        spine = None if self.case.pattern is None else self.case.pattern.spine
        return () if spine is None else parts_of(self.case.pattern, spine.panels)

    @property
    def subject(self) -> dict[str, Any]:
        """The spine."""
        return {"spine": True}


@subject(
    "spine",
    "the spine",
    (),
    groups=lambda pattern, _: [parts_of(pattern, pattern.spine.panels)] if pattern.spine else (),
)
def the_spine(case: Case) -> Iterator[SpineUse]:
    """List the spine, where the pattern has one."""
    if case.pattern is not None and case.pattern.spine is not None:
        yield SpineUse(case)
