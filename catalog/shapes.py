"""What is made: patterns with their panels, seams, folds, pockets and places for hardware."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from catalog.quantities import Number, Span


@dataclass(frozen=True, slots=True)
class Panel:
    """A cut piece of a part. ``turnable``: may be turned by 90 degrees on the hide."""

    code: str
    part: str
    count: int
    width_um: int
    height_um: int
    cut_width_um: int
    cut_height_um: int
    thickness: Span
    turnable: bool
    reverse_seen: bool
    pair: bool


@dataclass(frozen=True, slots=True)
class Layer:
    """``count`` layers of a panel in a stack, pared to ``skived_to_um`` first where given."""

    panel: str
    count: int
    skived_to_um: int | None = None


@dataclass(frozen=True, slots=True)
class Seam:
    """A stitched line: its length, the thickest stack it takes, its layers, how far from the edge it runs."""

    code: str
    length_um: int
    limit_um: int
    layers: tuple[Layer, ...]
    from_edge_um: int | None = None


@dataclass(frozen=True, slots=True)
class Fold:
    """Panels folded together, the outer one first, round ``inner_radius_um``.

    ``daily``: it is opened and shut each day, as the spine of a wallet is. ``across_spine``: it runs across the line of
    the animal's spine; None where the template does not say.
    """

    code: str
    panels: tuple[str, ...]
    inner_radius_um: int
    skived_to_um: int | None
    daily: bool = False
    across_spine: bool | None = None


@dataclass(frozen=True, slots=True)
class Spine:
    """The stack at the spine and the most it may be."""

    panels: tuple[str, ...]
    limit_um: int
    skived_to_um: int | None


@dataclass(frozen=True, slots=True)
class Pocket:
    """A place to put things; ``use`` is card, box, passport, blade, notebook, tool or one of the note uses."""

    code: str
    use: str
    width_um: int
    height_um: int
    depth_um: int
    count: int


@dataclass(frozen=True, slots=True)
class Zone:
    """Where letters may stand; ``on`` is shown or back.

    ``mirrored``: the same letters stand on both of a pair; None where the template does not say.
    """

    code: str
    panel: str
    width_um: int
    height_um: int
    on: str
    mirrored: bool | None = None


@dataclass(frozen=True, slots=True)
class Closed:
    """Layers of the closed piece, its limit, and what it usually carries (figure only).

    ``width_um`` and ``height_um`` are its outline, both None where it is not worn in a pocket.
    """

    limit_um: int
    layers: tuple[Layer, ...]
    cards: int
    notes: int
    business_cards: int
    passport_um: int
    width_um: int | None = None
    height_um: int | None = None


@dataclass(frozen=True, slots=True)
class Fixing:
    """A place for hardware: the types that fit, and the layers it grips."""

    code: str
    types: tuple[str, ...]
    required: bool
    layers: tuple[Layer, ...]
    skived_to_um: int | None


@dataclass(frozen=True, slots=True)
class Size:
    """A size to choose: the values made, or a range, and the default. Micrometers."""

    code: str
    offered_um: tuple[int, ...]
    min_um: int | None
    max_um: int | None
    default_um: int | None


@dataclass(frozen=True, slots=True)
class Load:
    """Load class none, light or bearing; the rest holds for bearing patterns.

    ``source`` says where ``required_break_n`` comes from.
    """

    load_class: str
    required_break_n: Number | None = None
    end_factor: Fraction | None = None
    scales_with_dog: bool = False
    end_seam: str | None = None
    source: str | None = None


@dataclass(frozen=True, slots=True)
class Pattern:
    """What is made. ``parts`` stand in the order in which the panels first name them.

    ``faces`` are the parts that are seen side by side, () where the template does not say. ``stamp_lands`` says where
    the hide's own stamp comes to lie: clear, fold, seam or hole.
    """

    code: str
    name: str
    status: str
    panels: Mapping[str, Panel]
    seams: Mapping[str, Seam]
    folds: Mapping[str, Fold]
    spine: Spine | None
    pockets: Mapping[str, Pocket]
    zones: Mapping[str, Zone]
    closed: Closed
    pitch_um: int
    stitches: tuple[str, ...]
    edge_finishes: tuple[str, ...]
    edge_length_um: int
    edge_time_factor: Fraction
    fixings: Mapping[str, Fixing]
    sizes: Mapping[str, Size]
    load: Load
    skin_contact: bool
    uses: tuple[str, ...]
    modifications: tuple[str, ...]
    default_parts: Mapping[str, str]
    default_thread: str | None
    default_edge: str | None
    default_hardware: Mapping[str, str]
    parts: tuple[str, ...] = ()
    faces: tuple[str, ...] = ()
    stamp_lands: str | None = None
