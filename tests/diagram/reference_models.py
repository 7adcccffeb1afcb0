"""Three made-up workshops of growing size, the same for the same seed: what the engine is measured by.

A piece has 5 to 7 panels (a leather and which side of it shows), a thread, an edge finish, hardware, a monogram and a
quantity. Rules: folds and thickness, edge finishes by tannage, monogram methods, layouts, hardware, seams as sums, few
different leathers, contrast of the thread, and four drawn at random over two to four slots as a house might add.

Prices are per value, and three depend on two slots. Nothing here is a figure of the trade: only the sizes and the shape
of the rules matter. The draws follow a fixed sequence (numpy's PCG64), so the counts of what can be built are known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from rules.diagram.constraint import Allowed, Amounts, Codes, Constraint, Table, Whole
from rules.diagram.folds import few_kinds, sum_within

PANELS = ("exterior", "lining", "pocket1", "pocket2", "pocket3", "gusset", "tab")
AREAS = (96, 92, 54, 51, 47, 23, 9)
#: Fold radius in mm (99: no fold) and most thickness in steps of 0.05 mm, panel by panel.
RADII = (3.0, 2.5, 99, 99, 99, 1.2, 99)
THICKEST = (40, 26, 26, 26, 26, 22, 60)
OTHERS = (
    ("thread_colour", 24),
    ("thread_weight", 3),
    ("edge_finish", 30),
    ("layout", 3),
    ("hardware", 8),
    ("branding", 3),
    ("mono_method", 4),
    ("mono_length", 9),
    ("quantity", 9),
)
QUANTITIES = np.array([1, 2, 3, 4, 5, 6, 8, 10, 12])
#: Three seams, the panels that meet there and the most that they may be thick together, in steps of 0.05 mm.
SEAMS = (((0, 1, 2, 3), 84), ((0, 2, 3, 4), 82), ((0, 1, 5), 66))
CLOSED = 176


@dataclass
class Model:
    """A workshop: slots, constraints, prices of one piece, and which lot each value of a panel takes how much of."""

    names: list[str]
    sizes: list[int]
    constraints: list[Constraint] = field(default_factory=list)
    prices: list[Whole] = field(default_factory=list)
    panels: int = 0
    lots: dict[int, Codes] = field(default_factory=dict)
    areas: dict[int, Whole] = field(default_factory=dict)
    lot_count: int = 0

    @property
    def quantity(self) -> int:
        """The slot of the quantity; value ``i`` stands for ``QUANTITIES[i]`` pieces."""
        return self.names.index("quantity")

    def everything(self) -> Allowed:
        """Nothing chosen."""
        return [np.ones(size, np.bool_) for size in self.sizes]

    def slot(self, name: str) -> int:
        """The number of a slot."""
        return self.names.index(name)

    def table(self, label: str, slots: Sequence[int], classes: Sequence[Codes], holds: NDArray[np.bool_]) -> None:
        """Add a table; slots in increasing order, classes that no value has left out."""
        kept, shown = _shown(classes)
        self.constraints.append(Table(tuple(slots), kept, holds[np.ix_(*shown)], label=label))

    def amount(self, label: str, slots: Sequence[int], classes: Sequence[Codes], amounts: Whole) -> None:
        """Add what two slots cost together."""
        kept, shown = _shown(classes)
        self.constraints.append(Amounts(tuple(slots), kept, amounts[np.ix_(*shown)].astype(np.int64), label=label))


def _shown(classes: Sequence[Codes]) -> tuple[tuple[Codes, ...], list[Codes]]:
    """Classes numbered without gaps, and which they were."""
    pairs = [np.unique(codes, return_inverse=True) for codes in classes]
    return tuple(codes.ravel().astype(np.intp) for _, codes in pairs), [shown for shown, _ in pairs]


@dataclass(frozen=True)
class Leathers:
    """What was drawn for the leathers, one entry a leather; a value of a panel is a leather and a side."""

    tannage: Codes
    family: Codes
    color: NDArray[np.float64]
    thickness: Whole
    split: NDArray[np.bool_]
    strain: Whole
    price: Whole
    smooth: NDArray[np.bool_]

    @property
    def of(self) -> Codes:
        """The leather of each value."""
        return np.repeat(np.arange(len(self.tannage)), 2)

    @property
    def side(self) -> Codes:
        """The side of each value."""
        return np.tile([0, 1], len(self.tannage))

    @property
    def thinnest(self) -> Whole:
        """How thin each value can be made, in steps of 0.05 mm."""
        halved = np.maximum(12, (self.thickness * 0.5).astype(int))
        return np.where(self.split, halved, self.thickness)[self.of]

    @property
    def thick_band(self) -> Codes:
        """Five bands of thickness."""
        return np.digitize(self.thinnest, [18, 22, 27, 33])


def make(panels: int, leathers: int, kinds: int, *, seed: int = 1, house: int = 4) -> Model:
    """A workshop of 5 to 7 panels, at most ``kinds`` different leathers in a piece, ``house`` random rules."""
    chance = np.random.default_rng(seed)
    skins = _leathers(chance, leathers)
    names = [*PANELS[:panels], *(name for name, _ in OTHERS)]
    model = Model(names, [2 * leathers] * panels + [size for _, size in OTHERS], panels=panels, lot_count=leathers)
    for panel in range(panels):
        model.lots[panel] = skins.of
        model.areas[panel] = np.full(2 * leathers, AREAS[panel])
    _each_panel(model, skins)
    edge_kind = chance.choice(5, 30, p=[0.4, 0.2, 0.2, 0.1, 0.1])
    _edges(model, skins, edge_kind, chance.integers(0, 8, 30))
    _marks(model, skins)
    _layouts(model, skins, chance)
    _sums(model, skins)
    every = tuple(range(panels))
    model.constraints.append(few_kinds(every, [skins.of] * panels, kinds, label="few leathers"))
    _contrast(model, skins, chance)
    _house(model, skins, chance, house)
    _prices(model, skins, chance)
    return model


def _leathers(chance: np.random.Generator, count: int) -> Leathers:
    tannage = chance.choice(4, count, p=[0.45, 0.3, 0.15, 0.1])
    family = chance.integers(0, 8, count)
    color = np.stack([chance.uniform(low, high, count) for low, high in ((15, 85), (-30, 50), (-30, 50))], 1)
    return Leathers(
        tannage=tannage,
        family=family,
        color=color,
        thickness=chance.integers(16, 56, count),
        split=chance.random(count) < 0.55,
        strain=chance.integers(20, 70, count),
        price=chance.integers(8, 60, count),
        smooth=chance.random(count) < 0.75,
    )


def _each_panel(model: Model, skins: Leathers) -> None:
    """Folds by the strain of the outer fiber, and the most thickness."""
    thin = skins.thinnest
    for panel in range(model.panels):
        bends = np.ones(len(thin), np.bool_)
        if RADII[panel] < 99:
            bends = 100 * thin * 0.05 / (thin * 0.05 + 2 * RADII[panel]) <= skins.strain[skins.of]
        for label, holds in ((f"fold {panel}", bends), (f"thickness {panel}", thin <= THICKEST[panel])):
            model.table(label, (panel,), [np.arange(len(thin))], holds)


def _edges(model: Model, skins: Leathers, kind: Codes, family: Codes) -> None:
    """Which edge finish takes on which tannage and color of the two outer panels."""
    holds = np.ones((32, 30), np.bool_)
    for tannage in range(4):
        rows = slice(tannage * 8, tannage * 8 + 8)
        near = np.isin((family[None] - np.arange(8)[:, None]) % 8, (0, 1, 2, 5))
        holds[rows] = np.where(kind == 0, near & (tannage in {0, 2}), holds[rows])
        holds[rows] = np.where(kind == 1, tannage in {0, 3}, holds[rows])
        holds[rows] = np.where(kind == 4, tannage != 3, holds[rows])
    codes = (skins.tannage * 8 + skins.family)[skins.of]
    for panel in (0, 1):
        model.table(f"edge {panel}", (panel, model.slot("edge_finish")), [codes, np.arange(30)], holds)


def _marks(model: Model, skins: Leathers) -> None:
    """Monogram by method, length and what the outer panel is; branding by its side and grain."""
    side, smooth, tannage = skins.side, skins.smooth[skins.of], skins.tannage[skins.of]
    holds = np.zeros((16, 4, 9), np.bool_)
    length = np.arange(9)
    for code in range(16):
        kind, back, plain = code // 4, code // 2 % 2, code % 2
        holds[code, 0] = length == 0
        holds[code, 1] = (length >= 1) & (length <= 8) & (back == 0) & (plain == 1)
        holds[code, 2] = (length >= 1) & (length <= 6) & (kind in {0, 2, 3})
        holds[code, 3] = (length >= 1) & (length <= 3) & (kind != 3)
    method, letters = model.slot("mono_method"), model.slot("mono_length")
    model.table("monogram", (0, method, letters), [tannage * 4 + side * 2 + smooth, np.arange(4), length], holds)
    branded = np.ones((4, 3), np.bool_)
    branded[2, 1] = branded[3, 1] = branded[0, 2] = False
    model.table("branding", (0, model.slot("branding")), [side * 2 + smooth, np.arange(3)], branded)


def _layouts(model: Model, skins: Leathers, chance: np.random.Generator) -> None:
    """Thread weight and hardware by layout, hardware by the thickness of the outer panel."""
    weight, layout, hardware = (model.slot(name) for name in ("thread_weight", "layout", "hardware"))
    for label, slots, size, least in (
        ("weight", (weight, layout), 3, 0.2),
        ("hardware layout", (layout, hardware), 8, 0.25),
    ):
        holds = chance.random((size, 3)) > least
        holds[0] = True
        if slots[0] == layout:
            holds = holds.T
        model.table(label, slots, [np.arange(model.sizes[slot]) for slot in slots], holds)
    thin, thick = chance.integers(0, 3, 8), chance.integers(3, 6, 8)
    thin[0], thick[0] = 0, 9
    band = np.arange(5)[:, None]
    holds = (band >= thin) & (band <= thick)
    model.table("hardware thickness", (0, hardware), [skins.thick_band, np.arange(8)], holds)


def _sums(model: Model, skins: Leathers) -> None:
    """Seams and the closed piece."""
    thin = skins.thinnest
    for at, (met, most) in enumerate(SEAMS):
        slots = sorted({panel % model.panels if panel == 5 else panel for panel in met})
        model.constraints.append(sum_within(slots, [thin] * len(slots), most=most, label=f"seam {at}"))
    slots = list(range(min(model.panels, 6)))
    doubled = [thin * (2 if panel < 2 else 1) for panel in slots]
    model.constraints.append(sum_within(slots, doubled, most=CLOSED, label="closed"))


def _contrast(model: Model, skins: Leathers, chance: np.random.Generator) -> None:
    """The thread against the outer panel: the heavy weight must stand out, the middle one must not."""
    thread = chance.uniform([15, -30, -30], [90, 50, 50], (24, 3))
    apart = np.sqrt(((thread[None] - skins.color[:, None]) ** 2).sum(2))
    rows, codes = np.unique(np.digitize(apart, [18, 40]), axis=0, return_inverse=True)
    holds = np.stack([np.ones_like(rows, np.bool_), rows != 2, rows != 0], axis=2)
    slots = (0, model.slot("thread_colour"), model.slot("thread_weight"))
    model.table("contrast", slots, [codes.ravel()[skins.of], np.arange(24), np.arange(3)], holds)


def _house(model: Model, skins: Leathers, chance: np.random.Generator, count: int) -> None:
    """Random tables over two to four slots, in attributes of leathers or the values of other slots."""
    seen = (skins.tannage[skins.of], skins.family[skins.of], skins.side, skins.thick_band)
    pool = list(range(len(model.sizes)))
    for at in range(count):
        many = int(chance.integers(2, 5))
        slots = sorted(chance.choice(pool, many, replace=False).tolist())
        classes: list[Codes] = []
        for slot in slots:
            if slot < model.panels:
                codes = seen[int(chance.integers(0, 4))]
            else:
                codes = np.arange(model.sizes[slot]) % (model.sizes[slot] if model.sizes[slot] <= 9 else 6)
            classes.append(np.unique(codes, return_inverse=True)[1].ravel())
        holds = chance.random([int(codes.max()) + 1 for codes in classes]) > 0.15
        model.table(f"house {at}", slots, classes, holds)


def _prices(model: Model, skins: Leathers, chance: np.random.Generator) -> None:
    """Prices in cents of one piece: by value, and by edge and tannage, letters and method, layout and hardware."""
    thinned = np.where(skins.split & (skins.thickness != skins.thinnest[::2]), 150, 0)[skins.of]
    by_area = [AREAS[panel] * skins.price[skins.of] + thinned + skins.side * 40 for panel in range(model.panels)]
    others = {
        "thread_colour": chance.integers(0, 120, 24),
        "thread_weight": np.array([0, 80, 160]),
        "edge_finish": chance.integers(100, 900, 30),
        "layout": np.array([0, 350, 700]),
        "hardware": chance.integers(0, 1500, 8),
        "branding": np.array([0, 200, 500]),
        "mono_method": np.array([0, 600, 400, 1500]),
        "mono_length": np.zeros(9),
        "quantity": np.zeros(9),
    }
    others["hardware"][0] = 0
    model.prices = [price.astype(np.int64) for price in (*by_area, *others.values())]
    edge, layout, hardware = (model.slot(name) for name in ("edge_finish", "layout", "hardware"))
    method, letters = model.slot("mono_method"), model.slot("mono_length")
    edges = [skins.tannage[skins.of], np.arange(30)]
    model.amount("edge surcharge", (0, edge), edges, chance.integers(0, 400, (4, 30)))
    each = np.arange(9)[None] * np.array([0, 120, 90, 400])[:, None]
    model.amount("letters", (method, letters), [np.arange(4), np.arange(9)], each)
    together = chance.integers(0, 300, (3, 8))
    model.amount("layout hardware", (layout, hardware), [np.arange(3), np.arange(8)], together)


def small() -> Model:
    """S1: five panels, twenty leathers, at most two of them in a piece."""
    return make(5, 20, 2)


def middle() -> Model:
    """S2: six panels, forty leathers, at most three."""
    return make(6, 40, 3)


def large() -> Model:
    """S3: seven panels, sixty leathers, at most three."""
    return make(7, 60, 3)
