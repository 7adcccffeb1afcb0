"""What stands on the shelf: kinds, leathers, lots, and the supplies beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from catalog.quantities import Grade, Lab, Number, Span


@dataclass(frozen=True, slots=True)
class Swatch:
    """A color: its sRGB hex text, CIELAB under D65, and lightness L* in thousandths."""

    srgb: str
    lab: Lab
    lightness_milli: int


@dataclass(frozen=True, slots=True)
class Kind:
    """Tannage and behavior shared by leathers of one make.

    ``split``, ``edge``, ``mark`` and ``back_shown`` are grades: fine, only after the maker's
    sign-off, or refused. ``strain_limit`` is the allowed strain of the outer fibers at a fold. ``coating`` is a finish
    that lies on the grain as a film, ``flex_report`` whether a test of how it stands folding is on file (none or
    on_file); ``reports`` are those on harmful substances, on_file or missing. None of them: never asked.
    """

    code: str
    name: str
    species: str
    tannage: str
    held: Span
    split: Grade
    split_min_um: int
    skive_min_um: int
    strain_limit: Mapping[str, Fraction]
    edge: Mapping[str, Grade]
    mark: Mapping[str, Grade]
    back_shown: Grade
    marks_at_folds: bool
    tensile_n_per_mm2: Number
    stretch_percent: Number
    stiff: bool
    yield_ratio: Fraction
    lot_drift_milli: int
    rub_rating: int
    price_per_sqft_minor: int
    price_band: str
    lead_days: int
    minimum_order_sqft: Number
    lining_only: bool
    coating: str | None = None
    flex_report: str | None = None
    reports: str | None = None


@dataclass(frozen=True, slots=True)
class Leather:
    """One color of a kind. ``status`` is active, last_lot or retired.

    ``weekly_um2`` is what is used of it in a week on average, None where nobody keeps count.
    """

    code: str
    kind: Kind
    name: str
    swatch: Swatch
    reserve_um2: int
    status: str
    aliases: tuple[str, ...]
    weekly_um2: int | None = None


@dataclass(frozen=True, slots=True, order=True)
class FreeRectangle:
    """A free rectangle of a lot; ``along_um`` runs along the backbone."""

    along_um: int
    across_um: int


@dataclass(frozen=True, slots=True, order=True)
class HeldPanel:
    """Panels of one size that are set aside in a lot and not cut yet, as they lie on the hide."""

    along_um: int
    across_um: int
    turnable: bool
    count: int


@dataclass(frozen=True, slots=True)
class LotCare:
    """How sure what is written of a lot is: when it was measured and counted, and which papers came with it.

    None everywhere means that nobody keeps book of it, never that all is well. ``never_measured`` says that the
    thickness is the mill's word alone. ``humidity_percent`` is that of the air while it was measured.
    ``forest_statement`` names the supplier's statement on deforestation, where ``forest_asked`` says that one is
    asked for.
    """

    measured_on: date | None = None
    never_measured: bool | None = None
    measured_damp: bool | None = None
    humidity_percent: Number | None = None
    counted_on: date | None = None
    forest_asked: bool | None = None
    forest_statement: str | None = None


#: Of a lot of which nobody keeps book.
NO_CARE = LotCare()


@dataclass(frozen=True, slots=True)
class Lot:
    """One hide, shell, skin, strap or remnant in stock.

    ``rectangles`` are disjoint and net of what is reserved. ``drift_milli`` is the CIEDE2000
    distance to the leather's standard. ``held`` are the panels promised to others; where in the
    rectangles they will lie is open until they are cut. ``held_um2`` is the area that they take with
    yield, rounded up. ``key`` names the lot as it stands: it is another after each change to any lot
    of the leather, so that what was worked out about it can be kept by it.
    """

    code: str
    leather: str
    form: str
    mill_stamp: str | None
    stamp_unit: str | None
    left_um2: int
    reserved_um2: int
    thickness: Span
    rectangles: tuple[FreeRectangle, ...]
    drift_milli: int
    stamp_legible: bool
    grade: str
    held: tuple[HeldPanel, ...] = ()
    held_um2: int = 0
    key: str = ""
    care: LotCare = NO_CARE

    def __post_init__(self) -> None:
        """Name a lot that never changed by its code alone."""
        if not self.key:
            object.__setattr__(self, "key", self.code)

    @property
    def usable_um2(self) -> int:
        """Return what may be used by whoever it is promised to, in square micrometers."""
        return self.left_um2 - self.reserved_um2

    @property
    def free_um2(self) -> int:
        """Return what may still be promised, in square micrometers."""
        return self.left_um2 - self.reserved_um2 - self.held_um2


@dataclass(frozen=True, slots=True)
class Thread:
    """One spool lot. ``left_um`` is the length left, ``break_n`` the load of one strand.

    ``supply`` says whether more can be had: ongoing, last_spool, discontinued, or None where nobody asks.
    """

    code: str
    material: str
    tex: Number
    diameter_um: int
    color: str
    swatch: Swatch
    left_um: int
    break_n: Number
    status: str
    supply: str | None = None


@dataclass(frozen=True, slots=True)
class Edge:
    """A finish in a color. ``left_ul`` None: nothing is used up. ``opened_on``: the day its bottle was opened."""

    code: str
    finish: str
    color: str
    swatch: Swatch | None
    left_ul: int | None
    status: str
    opened_on: date | None = None


@dataclass(frozen=True, slots=True)
class Hardware:
    """A fitting. ``size_um``: inner width of buckles and hooks, else the nominal size.

    ``tone`` is what its metal looks like; ``flux_index`` of a magnet in kG2mm2, and whether it is ``loose`` or may come
    off; ``faces_leather``: its metal lies on leather or on what is carried. None where nobody said.
    """

    code: str
    type: str
    size_um: int
    grip: Span
    finish: str
    nickel_report: bool
    magnetic: bool
    stock: int
    break_n: Number | None
    tone: str | None = None
    flux_index: Number | None = None
    loose: bool | None = None
    faces_leather: bool | None = None


@dataclass(frozen=True, slots=True)
class Typeface:
    """Type in the case. ``sorts`` names letters whose count differs from ``sorts_per_letter``."""

    code: str
    methods: tuple[str, ...]
    cap_um: int
    advance_um: int
    space_um: int
    extra_signs: str
    sorts_per_letter: int
    sorts: Mapping[str, int]
    worn: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Foil:
    """A roll of foil; ``left_um`` is the length left."""

    code: str
    color: str
    left_um: int
