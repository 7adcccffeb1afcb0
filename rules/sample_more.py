"""Random specs that also say what hardly anybody is asked: a notebook, a pen, clothes, marks, metals, inches.

Apart from :mod:`rules.sample`, whose draws are what measurements and comparisons were made with: there nothing moves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from catalog.model import Catalog
from rules.spec import WORN_IN, Blade, Notebook, Spec
from rules.themes import Draw, known_good, pick

More = Callable[[Spec, Catalog, Draw], Spec]


def with_more(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    """Return the spec with one or two of the things that it may say beside; a spec made for it now and then."""
    for _ in range(1 + (draw.randrange(4) == 0)):
        spec = pick(draw, _MORE)(spec, catalog, draw)
    return spec


def _made_for(spec: Spec, catalog: Catalog, draw: Draw, use: str) -> Spec:
    """Return the defaults of a pattern that has a pocket of some use, or the spec as it is."""
    able = [each for each in catalog.patterns.values() if any(pocket.use == use for pocket in each.pockets.values())]
    return known_good(pick(draw, able)) if able and draw.randrange(2) else spec


def _notebook(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    spec = _made_for(spec, catalog, draw, "notebook")
    items = [item.code for item in catalog.carry_items.values() if item.group == "notebook"]
    item = pick(draw, [*items, None, "NB-NONE"])
    width, height = pick(draw, [(None, None), (None, None), (74_000, 105_000), (95_050, None), (4_100, 5_800)])
    block = pick(draw, [None, 1_000, 2_500, 2_650, 9_000])
    return replace(spec, carry=replace(spec.carry, notebook=Notebook(item, width, height, block)))


def _tools(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    spec = _made_for(spec, catalog, draw, "tool")
    items = [item.code for item in catalog.carry_items.values() if item.group == "tool"]
    tools = tuple(pick(draw, [*items, *items, "TO-NONE"]) for _ in range(1 + draw.randrange(2)))
    return replace(spec, carry=replace(spec.carry, tools=tools))


def _worn(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    return replace(spec, carry=replace(spec.carry, worn_in=pick(draw, WORN_IN)))


def _marks(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    return replace(spec, marks_ok=draw.randrange(3) == 0)


def _metals(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    """Fill every place for hardware of a pattern that has several."""
    able = [each for each in catalog.patterns.values() if len(each.fixings) > 1]
    if able and draw.randrange(4):
        pattern = pick(draw, able)
        hardware = {
            slot: pick(draw, [code for code, noun in catalog.hardware.items() if noun.type in fixing.types])
            for slot, fixing in pattern.fixings.items()
        }
        spec = replace(known_good(pattern), hardware=hardware)
    return replace(spec, mixed_metals_ok=draw.randrange(4) == 0)


def _inches(spec: Spec, catalog: Catalog, draw: Draw) -> Spec:
    """State a length in inches, or about where inches end and mm begin."""
    long = [size for size in spec.sizes_um if size in ("waist_to_hole_mm", "length_mm")]
    if long:
        return replace(spec, sizes_um={**spec.sizes_um, long[0]: pick(draw, [3_499, 36_000, 48_000, 79_999, 80_000])})
    blade = Blade(28_000, 2_500, pick(draw, [3_499, 3_500, 4_500, 11_999, 12_000]))
    return replace(spec, carry=replace(spec.carry, blade=blade))


_MORE: Final[tuple[More, ...]] = (_notebook, _tools, _worn, _marks, _metals, _inches)
