"""Measures of hardware and load (HDW, LOD)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from catalog.model import Fixing, Hardware, Number, Panel, Pattern
from rules.case import Case
from rules.subjects import Scope, Whole, parts_of
from rules.vocabulary import Group, number, subject, truth, word

_NO_GRIP = ("ring", "watch_buckle")


@dataclass(frozen=True)
class FixingUse(Scope):
    """Hardware in its place."""

    fixing: Fixing
    hardware: Hardware

    @property
    def parts(self) -> tuple[str, ...]:
        """The parts it grips."""
        return parts_of(self.case.pattern, tuple(layer.panel for layer in self.fixing.layers))

    @property
    def at(self) -> tuple[str, ...]:
        """The slot."""
        return (f"/hardware/{self.fixing.code}",)

    @property
    def subject(self) -> dict[str, Any]:
        """The slot."""
        return {"hardware": self.fixing.code}

    @property
    def params(self) -> dict[str, Any]:
        """The code."""
        return {"hardware": self.hardware.code}

    @property
    def words(self) -> dict[str, str]:
        """Slot, type, finish, size, code."""
        grip = self.hardware.grip
        return {
            "slot": self.fixing.code, "type": self.hardware.type.replace("_", " "), "finish": self.hardware.finish,
            "size": f"{self.hardware.size_um / 1000:g} mm", "code": self.hardware.code,
            "grip": f"{grip.min_um / 1000:g}-{grip.max_um / 1000:g} mm",
        }  # fmt: skip


def _of_fixings(pattern: Pattern, _: Iterable[Group]) -> Iterable[Group]:
    return (parts_of(pattern, [layer.panel for layer in fixing.layers]) for fixing in pattern.fixings.values())


@subject(
    "fixing",
    "each piece of hardware in its place",
    ("slot", "type", "finish", "size", "code", "grip"),
    reads=["hardware"],
    groups=_of_fixings,
    only_with="hardware",
)
def each_fixing(case: Case) -> Iterator[FixingUse]:
    """List the known hardware in the pattern's own places."""
    if case.pattern is not None:
        for slot, hardware in case.piece.hardware.items():
            yield FixingUse(case, case.pattern.fixings[slot], hardware)


@truth("fixing.grips", "the hardware grips leather", reads=["hardware"])
def grips(use: FixingUse) -> bool:
    """Whether it is held by what it grips; rings and watch buckles are not."""
    return use.hardware.type not in _NO_GRIP


@number("fixing.gripped", "mm", "leather at the fixing", reads=["lots", "side", "pattern"])
def gripped(use: FixingUse) -> int | None:
    """Return the sum of the layers gripped, um, capped where the place is pared; None while one is missing."""
    stack = use.case.shape.stack(use.fixing.layers)
    if not stack.complete:
        return None
    pared = use.fixing.skived_to_um
    return stack.total_um if pared is None else min(stack.total_um, pared)


@number("fixing.grip_min", "mm", "the least grip of the hardware", reads=["hardware"])
def grip_min(use: FixingUse) -> int:
    """Return the least grip, um."""
    return use.hardware.grip.min_um


@number("fixing.grip_max", "mm", "the most grip of the hardware", reads=["hardware"])
def grip_max(use: FixingUse) -> int:
    """Return the most grip, um."""
    return use.hardware.grip.max_um


@number("fixing.size", "mm", "size of the hardware", reads=["hardware"])
def size(use: FixingUse) -> int:
    """Return the inner width of buckles and hooks, else the nominal size, um."""
    return use.hardware.size_um


@number("fixing.strap_end", "mm", "width of the strap at the hardware", reads=["sizes", "hardware"])
def strap_end(use: FixingUse) -> int | None:
    """Return the strap's width there, um: lug less taper for watch buckles; None where sizes are not given."""
    piece = use.piece
    if use.hardware.type == "watch_buckle":
        lug, taper = piece.size_um("lug_mm"), piece.size_um("taper_mm")
        return None if lug is None or taper is None else lug - taper
    if use.hardware.type in ("belt_buckle", "trigger_hook"):
        return piece.size_um("width_mm")
    return None


@truth("fixing.nickel_report", "a nickel release report is on file", reads=["hardware"])
def nickel_report(use: FixingUse) -> bool:
    """Whether the release test is on file."""
    return use.hardware.nickel_report


@truth("fixing.magnetic", "the hardware holds a magnet", reads=["hardware"])
def magnetic(use: FixingUse) -> bool:
    """Whether there is a magnet in it."""
    return use.hardware.magnetic


@truth("fixing.rated", "the breaking load of the hardware is known", reads=["hardware"])
def rated(use: FixingUse) -> bool:
    """Whether the hardware has a breaking load; what has none bears nothing."""
    return use.hardware.break_n is not None


@number("fixing.break_load", "N", "load at which the hardware breaks", reads=["hardware"])
def break_load(use: FixingUse) -> Number | None:
    """Return the breaking load, N; None where it bears none."""
    return use.hardware.break_n


@dataclass(frozen=True)
class HardwareCount(Scope):
    """A hardware code and how many the order takes."""

    hardware: Hardware
    slots: tuple[str, ...]

    @property
    def at(self) -> tuple[str, ...]:
        """The slots that take it."""
        return tuple(f"/hardware/{slot}" for slot in self.slots)

    @property
    def params(self) -> dict[str, Any]:
        """The code."""
        return {"hardware": self.hardware.code}

    @property
    def words(self) -> dict[str, str]:
        """Type and code."""
        return {"type": self.hardware.type.replace("_", " "), "code": self.hardware.code}


@subject("fitting", "each hardware code of the order", ("type", "code"), reads=["hardware"], only_with="hardware")
def each_fitting(case: Case) -> Iterator[HardwareCount]:
    """List each code once, with the slots that take it."""
    counts = Counter(hardware.code for hardware in case.piece.hardware.values())
    for code in counts:
        slots = tuple(slot for slot, hardware in case.piece.hardware.items() if hardware.code == code)
        yield HardwareCount(case, case.piece.hardware[slots[0]], slots)


@number("fitting.needed", "count", "pieces needed", reads=["hardware", "quantity"])
def needed(use: HardwareCount) -> int:
    """Return slots x quantity."""
    return len(use.slots) * use.piece.quantity


@number("fitting.stock", "count", "pieces in stock", reads=["stock", "hardware"])
def in_stock(use: HardwareCount) -> int:
    """Return what is in stock."""
    return use.hardware.stock


@number("piece.tones", "count", "tones of metal in the piece", reads=["hardware"])
def tones(whole: Whole) -> int:
    """Return how many different tones the fittings have; one whose tone nobody said counts for none."""
    return len({hardware.tone for hardware in whole.piece.hardware.values()} - {None})


@truth("piece.mixed_metals_ok", "fittings of two tones may meet", reads=["mixed_metals_ok"])
def mixed_metals_ok(whole: Whole) -> bool | None:
    """Return the customer's answer; None where nobody asked."""
    return whole.piece.spec.mixed_metals_ok


@truth("piece.skin_contact", "the piece is worn on the skin", reads=["pattern"])
def skin_contact(whole: Whole) -> bool | None:
    """Whether the pattern touches the skin."""
    return None if whole.piece.pattern is None else whole.piece.pattern.skin_contact


@truth("piece.for_child", "the piece is for a child under 3", reads=["purpose"])
def for_child(whole: Whole) -> bool:
    """Whether the purpose names a child under 3."""
    return whole.piece.spec.purpose.child_under_3


@truth("piece.blade_cavity", "the pattern holds a blade", reads=["pattern"])
def blade_cavity(whole: Whole) -> bool:
    """Whether the pattern has a cavity for a blade."""
    pattern = whole.piece.pattern
    return pattern is not None and any(pocket.use == "blade" for pocket in pattern.pockets.values())


def _strap(case: Case) -> Panel | None:
    """Return the panel that bears: the first layer of the end seam."""
    pattern = case.pattern
    if pattern is None or pattern.load.end_seam is None:
        return None
    return pattern.panels[pattern.seams[pattern.load.end_seam].layers[0].panel]


@number("piece.strap_strength", "N", "load at which the strap breaks", reads=["lots", "sizes", "leather"])
def strap_strength(whole: Whole) -> Number | None:
    """Return tensile x width x lower thickness x end factor x grade factor, N."""
    case, strap = whole.case, _strap(whole.case)
    if strap is None or case.pattern is None or case.pattern.load.end_factor is None:
        return None
    lots, kind = case.lots_for(strap.part), case.piece.parts[strap.part].kind
    if not lots or kind is None:
        return None
    width, _ = case.finished_um(strap)
    thinnest = min(lot.thickness.min_um for lot in lots)
    strength = kind.tensile_n_per_mm2 * Fraction(width * thinnest, 1_000_000) * case.pattern.load.end_factor
    graded = any(lot.grade != "A" for lot in lots)
    return strength * case.piece.threshold("grade_factor") if graded else strength


@number("piece.required_strength", "N", "load that must be borne", reads=["purpose", "pattern"])
def required_strength(whole: Whole) -> Number | None:
    """Return the pattern's load, N, growing with the dog above the base weight where it scales."""
    pattern, dog_kg = whole.piece.pattern, whole.piece.spec.purpose.dog_kg
    if pattern is None or pattern.load.required_break_n is None:
        return None
    load = pattern.load.required_break_n
    if pattern.load.scales_with_dog and dog_kg is not None:
        load *= max(Fraction(1), Fraction(dog_kg) / Fraction(whole.piece.threshold("dog_kg_base")))
    return load


@truth("piece.load_grade_a", "the load panel comes from grade A only", reads=["lots"])
def load_grade_a(whole: Whole) -> bool | None:
    """Whether every lot of the strap is grade A."""
    strap = _strap(whole.case)
    lots = () if strap is None else whole.case.lots_for(strap.part)
    return all(lot.grade == "A" for lot in lots) if lots else None


@word("piece.use", "what the law file says of the use", reads=["purpose", "law"], levels=("fine", "refuse"))
def use_grade(whole: Whole) -> str | None:
    """Return the law file's word on the use named; None where none is named or it is unknown."""
    piece = whole.piece
    return None if piece.use is None else piece.catalog.uses.get(piece.use)


@truth("piece.use_listed", "the pattern is made for the use", reads=["purpose", "pattern"])
def use_listed(whole: Whole) -> bool | None:
    """Whether the pattern lists the use named."""
    piece = whole.piece
    if piece.use is None or piece.pattern is None or piece.use not in piece.catalog.uses:
        return None
    return piece.use in piece.pattern.uses


@truth("fitting.faces_leather", "its metal lies on leather or on what is carried", reads=["hardware"])
def faces_leather(use: HardwareCount) -> bool | None:
    """Whether the metal faces leather or a screen; None where nobody asks."""
    return use.hardware.faces_leather
