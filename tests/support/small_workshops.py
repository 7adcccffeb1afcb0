"""Random workshops so small that everything they could make can be judged: the demo cut down, stock scarce.

Drawn by seed alone. Files are written anew and read by the strict loader, so that each workshop is one that could be
served; only what others hold in a lot, which no file says, is put in afterwards.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any, Final

import yaml
from support.small_limits import limits_of, lots_of, pattern_of, prices_of
from support.small_rules import house_rules

import catalog
import rules
from catalog.goods import HeldPanel
from catalog.load import load_catalog
from catalog.model import Catalog, Lot
from catalog.strict_yaml import Faults
from rules.shop import Shop, open_shop

TODAY: Final = date(2026, 3, 2)
#: Drawn again where a drawing contradicts itself: a limit that no leather can meet, say.
_DRAWINGS: Final = 20
_GRADES: Final = ("fine", "fine", "fine", "fine", "sign_off", "refuse")
#: Complete specs of one pattern, letters counted apart.
_LEAST_ROWS, _MOST_ROWS = 600, 3_000
Data = dict[str, Any]


def small_workshop(seed: int) -> tuple[Shop, date]:
    """Return a random workshop and the day on which it is asked; the same for the same seed."""
    for drawing in range(_DRAWINGS):
        draw = random.Random(f"small workshop {seed}.{drawing}")
        try:
            found = load_catalog(_files(draw))
            found = replace(found, lots=_held(draw, found))
            return open_shop(found, _book()), TODAY
        except Faults:
            continue
    raise AssertionError(f"no workshop came of seed {seed}")


def small_workshop_faults(seed: int) -> list[str]:
    """Return why drawings of a seed were thrown away, for whoever changes how workshops are drawn."""
    told: list[str] = []
    for drawing in range(_DRAWINGS):
        try:
            open_shop(load_catalog(_files(random.Random(f"small workshop {seed}.{drawing}"))), _book())
        except Faults as bad:
            told += [f"{fault.file}: {fault.message}" for fault in bad.faults]
        else:
            break
    return told


@cache
def _demo() -> Mapping[str, Any]:
    folder = Path(catalog.__file__).parent / "oddlestone"
    own = ("house-", "orders-", "accept")
    found = {
        path.name: yaml.safe_load(path.read_text(encoding="utf-8"))
        for path in sorted(folder.glob("*.yaml"))
        if not path.name.startswith(own)
    }
    for pattern in found["patterns.yaml"].values():
        for zone in pattern["zones"].values():
            zone["on"] = zone.pop(True)  # YAML 1.1 takes the word for a truth
    return found


@cache
def _book() -> Mapping[str, str]:
    folder = Path(rules.__file__).parent / "book"
    return {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.yaml"))}


def _files(draw: random.Random) -> dict[str, str]:
    """Return the files of a random workshop."""
    data = deepcopy(dict(_demo()))
    most = round(_LEAST_ROWS * (_MOST_ROWS / _LEAST_ROWS) ** draw.random())
    names = draw.sample(sorted(data["patterns.yaml"]), draw.choice((1, 1, 2)))
    patterns = {name: pattern_of(draw, data["patterns.yaml"][name]) for name in names}
    _cut_leathers(draw, data, patterns, most)
    _cut_supplies(draw, data, patterns)
    _fit(draw, data, patterns, most)
    _defaults(draw, data, patterns)
    data["patterns.yaml"] = patterns
    data["lots.yaml"] = lots_of(draw, data["leathers.yaml"], data["kinds.yaml"], patterns)
    data["price-list.yaml"] = prices_of(draw, data["price-list.yaml"], patterns)
    data["thresholds.yaml"] = limits_of(draw, data["thresholds.yaml"])
    data["labor.yaml"]["per_piece"] = {name: data["labor.yaml"]["per_piece"][name] for name in names}
    data["workshop.yaml"]["backlog_minutes"] = draw.choice((0, 700, 5_200, 30_000))
    data["house-rules.yaml"] = house_rules(draw, data)
    return {name: yaml.safe_dump(each, sort_keys=False, allow_unicode=True) for name, each in data.items()}


def _cut_leathers(draw: random.Random, data: Data, patterns: Mapping[str, Data], most: int) -> None:
    """Keep three to six leathers, among them those that the patterns are usually made of."""
    own = {leather for pattern in patterns.values() for leather in pattern["defaults"]["parts"].values()}
    widest = max(_parts(pattern) for pattern in patterns.values())
    count = next(count for count in (6, 5, 4, 3) if count == 3 or (2 * count) ** widest * 4 <= most)
    usual = draw.sample(sorted(own), min(len(own), draw.choice((1, 2, 2))))
    others = draw.sample(sorted(set(data["leathers.yaml"]) - set(usual)), 6)
    chosen = [*usual, *others][: draw.randint(3, count)]
    leathers = {code: data["leathers.yaml"][code] for code in chosen}
    for leather in leathers.values():
        leather["status"] = draw.choice(("active", "active", "active", "last_lot"))
        leather["reserve_dm2"] = draw.choice((0, 0, 0, 1, 3, 8))
    if draw.random() < 0.4:
        code = next(each for each in others if each not in leathers)
        leathers[code] = data["leathers.yaml"][code] | {"status": "retired"}
    for kind in {leather["kind"]: None for leather in leathers.values()}:
        _regrade(draw, data["kinds.yaml"][kind], data["price-list.yaml"]["bands"])
    data["leathers.yaml"] = leathers


def _regrade(draw: random.Random, kind: Data, bands: list[str]) -> None:
    for name in ("edge", "mark"):
        kind[name] = {
            word: draw.choice(_GRADES) if draw.random() < 0.3 else grade for word, grade in kind[name].items()
        }
    for name in ("split", "back_shown"):
        if draw.random() < 0.4:
            kind[name] = draw.choice(_GRADES)
    kind["stiff"] = draw.random() < 0.25
    kind["lining_only"] = draw.random() < 0.08
    kind["price_band"] = draw.choice((kind["price_band"], *bands))
    scale = draw.choice((1, 1, 1.3, 2))
    kind["strain_limit"] = {side: min(1, round(limit * scale, 3)) for side, limit in kind["strain_limit"].items()}
    if kind["tannage"] == "chrome" and draw.random() < 0.5:
        kind["tannage"] = "vegetable"


def _cut_supplies(draw: random.Random, data: Data, patterns: Mapping[str, Data]) -> None:
    """Keep a few threads, edges, typefaces, foils and fittings, with little left of some."""
    heavy = any(pattern["pitch_mm"] > 4 for pattern in patterns.values())
    suiting = [code for code in data["threads.yaml"] if code.startswith("TH-P08") == heavy]
    threads = draw.sample(suiting, min(2, len(suiting)))
    threads += draw.sample(sorted(set(data["threads.yaml"]) - set(threads)), draw.choice((0, 1)))
    data["threads.yaml"] = _some(data["threads.yaml"], threads)
    for thread in data["threads.yaml"].values():
        thread["left_m"] = draw.choice((2.5, 6, 40, 90, 90))
    finishes = {finish for pattern in patterns.values() for finish in pattern["edge_finishes"]}
    offered = [code for code, edge in data["edges.yaml"].items() if edge["finish"] in finishes]
    data["edges.yaml"] = _some(data["edges.yaml"], draw.sample(offered, draw.choice((2, 2, 3, 4))))
    for edge in data["edges.yaml"].values():
        if edge["left_ml"] is not None:
            edge["left_ml"] = draw.choice((2, 40, 90, 200, 200, 200))
            edge["status"] = "active" if draw.random() < 0.9 else "out"
    _cut_hardware(draw, data, patterns)
    data["typefaces.yaml"] = _some(data["typefaces.yaml"], _few(draw, list(data["typefaces.yaml"])))
    for face in data["typefaces.yaml"].values():
        face["sorts_per_letter"] = draw.choice((0, 1, 2))
        face["sorts"] = {letter: draw.choice((0, 1, 3)) for letter in draw.sample("ABEMOQ", draw.choice((0, 1, 2)))}
        held = [letter for letter, count in face["sorts"].items() if count]
        face["worn"] = dict.fromkeys(held[: draw.choice((0, 1))], 1)
    data["foils.yaml"] = _some(data["foils.yaml"], _few(draw, list(data["foils.yaml"])))
    for foil in data["foils.yaml"].values():
        foil["left_m"] = draw.choice((0, 0.02, 5))


def _cut_hardware(draw: random.Random, data: Data, patterns: Mapping[str, Data]) -> None:
    """Keep up to three fittings of each type that a pattern takes; most have a width that it is made in."""
    fittings = data["hardware.yaml"]
    kept: list[str] = []
    for pattern in patterns.values():
        for kind in sorted({kind for place in pattern["hardware"].values() for kind in place["types"]}):
            own = [code for code, fitting in fittings.items() if fitting["type"] == kind]
            chosen = draw.sample(own, min(len(own), draw.choice((1, 2, 3))))
            kept += chosen
            for code in chosen if draw.random() < 0.8 else ():
                fittings[code]["size_mm"] = draw.choice(_widths(pattern["sizes"]) or [fittings[code]["size_mm"]])
    data["hardware.yaml"] = _some(fittings, kept or draw.sample(sorted(fittings), 1))
    for fitting in data["hardware.yaml"].values():
        fitting["stock"] = draw.choice((0, 1, 2, 12, 12, 40, 40, 40, 40, 40))
        fitting["grip_mm"]["max"] = round(fitting["grip_mm"]["max"] * draw.choice((0.9, 1, 1.3, 1.6)), 1)


def _widths(sizes: Data) -> list[int]:
    """Return the inner widths that buckles and hooks of a pattern have to have, mm."""
    if "lug_mm" in sizes:
        return [lug - taper for lug in sizes["lug_mm"]["offered"] for taper in sizes["taper_mm"]["offered"]]
    return list(sizes["width_mm"]["offered"]) if "width_mm" in sizes else []


def _fit(draw: random.Random, data: Data, patterns: Mapping[str, Data], most: int) -> None:
    """Leave out one thing after the other until no pattern has more complete specs than wanted."""
    for pattern in patterns.values():
        takers = ["stitches", "modifications", "zones", "sizes", "rivet"]
        while _rows(data, pattern) > most and takers:
            what = takers.pop(draw.randrange(len(takers)))
            if what == "stitches":
                pattern["stitches"] = pattern["stitches"][:1]
            elif what == "modifications":
                pattern["modifications"] = pattern["modifications"][: draw.choice((0, 0, 1))]
            elif what == "zones":
                pattern["zones"] = dict(list(pattern["zones"].items())[: draw.choice((0, 1, 1))])
            elif what == "rivet":
                pattern["hardware"].pop("rivet", None)
            for size in pattern["sizes"].values() if what == "sizes" else ():
                size["offered"] = size["offered"][:1]
                size["default"] = size["offered"][0]
        if _rows(data, pattern) > most:
            pattern["zones"] = {}
    while len(data["edges.yaml"]) > 2 and max(_rows(data, pattern) for pattern in patterns.values()) > most:
        data["edges.yaml"].popitem()


def _rows(data: Data, pattern: Data) -> int:
    """Return about how many complete specs there are, each letter that differs from others counted."""
    leathers = sum(leather["status"] != "retired" for leather in data["leathers.yaml"].values())
    count = (2 * leathers) ** _parts(pattern) * len(data["threads.yaml"]) * len(data["edges.yaml"])
    count *= len(pattern["stitches"]) * 2 ** len(pattern["modifications"]) * len(pattern["uses"])
    for place in pattern["hardware"].values():
        types = [fitting["type"] for fitting in data["hardware.yaml"].values()]
        count *= sum(kind in place["types"] for kind in types) + (not place["required"])
    for size in pattern["sizes"].values():
        count *= len(size["offered"])
    faces = data["typefaces.yaml"].values()
    methods = {method for face in faces for method in face["methods"]}
    letters = sum(2 * (1 + len(face["sorts"])) for face in faces)
    inks = sum(len(data["foils.yaml"]) if method == "foil" else 1 for method in methods)
    return count * (1 + inks * letters * len(pattern["zones"]))


def _defaults(draw: random.Random, data: Data, patterns: Mapping[str, Data]) -> None:
    """Give each pattern defaults that the workshop still has."""
    fit = [
        code
        for code, leather in data["leathers.yaml"].items()
        if leather["status"] != "retired" and not data["kinds.yaml"][leather["kind"]]["lining_only"]
    ]
    for pattern in patterns.values():
        parts = {panel["part"]: None for panel in pattern["panels"].values()}
        edges = [code for code, edge in data["edges.yaml"].items() if edge["finish"] in pattern["edge_finishes"]]
        pattern["defaults"] = {"parts": {part: draw.choice(fit or [""]) for part in parts}}
        pattern["defaults"] |= {"thread": draw.choice(list(data["threads.yaml"])), "edge": draw.choice(edges or [""])}
        places = {
            name: next(c for c, fitting in data["hardware.yaml"].items() if fitting["type"] in place["types"])
            for name, place in pattern["hardware"].items()
            if place["required"]
        }
        if places:
            pattern["defaults"]["hardware"] = places


def _held(draw: random.Random, found: Catalog) -> dict[str, Lot]:
    """Set some panels aside for others, in about every fourth lot."""
    panels = [panel for pattern in found.patterns.values() for panel in pattern.panels.values()]
    lots = dict(found.lots)
    for code, lot in found.lots.items():
        panel = draw.choice(panels)
        area = panel.cut_width_um * panel.cut_height_um * 3 // 2
        if draw.random() < 0.25 and area < lot.free_um2:
            held = HeldPanel(panel.cut_height_um, panel.cut_width_um, panel.turnable, 1)
            lots[code] = replace(lot, held=(held,), held_um2=area, key=f"{code} held")
    return lots


def _parts(pattern: Data) -> int:
    return len({panel["part"] for panel in pattern["panels"].values()})


def _some(rows: Data, kept: Iterable[str]) -> Data:
    chosen = set(kept)
    return {code: row for code, row in rows.items() if code in chosen}


def _few(draw: random.Random, codes: list[str]) -> list[str]:
    return draw.sample(codes, min(len(codes), draw.choice((1, 1, 2))))
