"""What rules are told at the stages after a check: the items of a quote or an order, and what became of them.

The facts come in as arguments, for rules read no store and no clock. What is None is not known, and then
nobody asks: no rule takes it for a pass or for a fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from catalog.model import Catalog, Number
from rules.case import Case

HoldKind = Literal["none", "cart", "quote", "order"]


@dataclass(frozen=True)
class Item:
    """One item: its piece with the lots that it is cut from.

    ``record`` is the id of its quote or order; ``price`` the price as its check wrote it, None where there is
    none; ``weight_g`` what the finished piece weighed, g.
    """

    number: int
    case: Case
    record: str = ""
    price: Mapping[str, Any] | None = None
    weight_g: Number | None = None


@dataclass(frozen=True)
class Job:
    """A quote or an order at one stage.

    ``hold`` says for how long all is set aside (none: it is not), ``until`` the moment in words; ``lost``
    whether what could be set aside at the check no longer can. ``as_of`` is the day of the check, ``valid_until``
    the last day of its price; both None where the price is agreed for good.
    """

    today: date
    items: tuple[Item, ...] = ()
    hold: HoldKind | None = None
    until: str = ""
    lost: bool | None = None
    as_of: date | None = None
    valid_until: date | None = None


@dataclass(frozen=True)
class Priced:
    """A price as it is shown, in minor units: the lines of one piece, each piece, how many, the total."""

    pattern: str
    quantity: int
    lines_minor: tuple[int, ...]
    each_minor: int
    total_minor: int


@dataclass(frozen=True)
class Data:
    """A workshop's data held against the rules on data: the catalog, and prices worked out from its list."""

    catalog: Catalog
    prices: tuple[Priced, ...] = ()


@dataclass(frozen=True)
class SeenOn:
    """When a lot was last measured and counted at the bench; None where that never happened."""

    measured: date | None = None
    counted: date | None = None
