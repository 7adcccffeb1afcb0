"""What if: a shop with a stock, a price list or a day that is not, or not yet, so. Nothing of it is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction

from catalog.model import Catalog, FreeRectangle, Lot, PriceList, Span
from rules.shop import Shop

#: A price list may be thought dearer or cheaper by so many percent.
LEAST_PERCENT, MOST_PERCENT = -90, 1_000


class WhatIfError(ValueError):
    """Something that cannot be so. ``pointer`` says where in the overrides, ``str()`` why."""

    def __init__(self, pointer: str, says: str) -> None:
        """Keep where and why."""
        super().__init__(says)
        self.pointer = pointer


@dataclass(frozen=True, slots=True)
class LotIf:
    """What a lot would be; None leaves a figure as it is. A lot that is not in stock needs all but form and grade."""

    leather: str | None = None
    left_um2: int | None = None
    thickness: Span | None = None
    rectangles: Sequence[FreeRectangle] | None = None
    form: str = "hide"
    grade: str = "A"


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Changes to a shop. ``lots``: None is a lot that is gone. ``leathers``: states by code."""

    today: date | None = None
    lots: Mapping[str, LotIf | None] = field(default_factory=dict)
    leathers: Mapping[str, str] = field(default_factory=dict)
    price_percent: Fraction = Fraction(0)


def supposed(shop: Shop, changes: WhatIf) -> Shop:
    """Return a shop in which the changes are so. It shares nothing that was worked out with the first.

    The day is not part of a shop: the caller judges as of ``changes.today``.

    Raises:
        WhatIfError: a code that nothing has, a lot without the figures that it needs.
    """
    if not (changes.lots or changes.leathers or changes.price_percent):
        return shop
    catalog = _with_leathers(shop, _with_lots(shop, changes.lots), changes.leathers)
    if changes.price_percent:
        catalog = replace(catalog, price_list=_dearer(catalog.price_list, 1 + changes.price_percent / 100))
    return replace(shop, catalog=catalog).apart()


def _with_lots(shop: Shop, changes: Mapping[str, LotIf | None]) -> Catalog:
    _once(changes, "lots")
    lots = dict(shop.catalog.lots)
    for asked, change in changes.items():
        code, at = shop.indexes.lots.code(asked), _pointer("lots", asked)
        if change is None:
            if lots.pop(code, None) is None:
                raise WhatIfError(at, "no lot in stock has this code")
            continue
        if change.thickness is not None and change.thickness.min_um > change.thickness.max_um:
            raise WhatIfError(f"{at}/thickness_mm", "min is at most max")
        if code in lots:
            lots[code] = _changed(lots[code], change, at, shop)
        else:
            lots[code] = _received(code, change, at, shop)
    return replace(shop.catalog, lots=lots)


def _once(codes: Iterable[str], of: str) -> None:
    """Raise where a code is there twice: it is compared without regard to case."""
    seen: set[str] = set()
    for code in codes:
        if code.casefold() in seen:
            raise WhatIfError(_pointer(of, code), "this code is there twice")
        seen.add(code.casefold())


def _pointer(*steps: str) -> str:
    """Return a JSON Pointer (RFC 6901)."""
    return "".join(f"/{step.replace('~', '~0').replace('/', '~1')}" for step in steps)


def _leather(shop: Shop, asked: str, pointer: str) -> str:
    found = shop.indexes.leathers.find(asked)
    if found is None:
        raise WhatIfError(pointer, "no leather of the catalog has this code")
    return found.code


def _changed(lot: Lot, change: LotIf, pointer: str, shop: Shop) -> Lot:
    if change.leather is not None and _leather(shop, change.leather, f"{pointer}/leather") != lot.leather:
        raise WhatIfError(f"{pointer}/leather", "a lot stays of its leather; think of another lot instead")
    return replace(
        lot,
        left_um2=lot.left_um2 if change.left_um2 is None else change.left_um2,
        thickness=change.thickness or lot.thickness,
        rectangles=lot.rectangles if change.rectangles is None else tuple(change.rectangles),
    )


def _received(code: str, change: LotIf, pointer: str, shop: Shop) -> Lot:
    if change.leather is None or change.left_um2 is None or change.thickness is None or change.rectangles is None:
        raise WhatIfError(
            pointer, "no lot in stock has this code; one received needs leather, left_dm2, thickness_mm, rectangles_mm"
        )
    return Lot(
        code=code,
        leather=_leather(shop, change.leather, f"{pointer}/leather"),
        form=change.form,
        mill_stamp=None,
        stamp_unit=None,
        left_um2=change.left_um2,
        reserved_um2=0,
        thickness=change.thickness,
        rectangles=tuple(change.rectangles),
        drift_milli=0,
        stamp_legible=False,
        grade=change.grade,
    )


def _with_leathers(shop: Shop, catalog: Catalog, states: Mapping[str, str]) -> Catalog:
    _once(states, "leathers")
    changed = {}
    for asked, state in states.items():
        code = _leather(shop, asked, _pointer("leathers", asked))
        changed[code] = replace(catalog.leathers[code], status=state)
    return replace(catalog, leathers={**catalog.leathers, **changed})


def _dearer(prices: PriceList, share: Fraction) -> PriceList:
    """Return a price list with every amount multiplied, half even to the minor unit; price points stay."""
    base = {
        pattern: {band: round(minor * share) for band, minor in bands.items()}
        for pattern, bands in prices.base_minor.items()
    }
    surcharges = tuple(replace(row, amount_minor=round(row.amount_minor * share)) for row in prices.surcharges)
    return replace(prices, base_minor=base, surcharges=surcharges)
