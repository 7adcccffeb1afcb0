"""Patterns, lots, prices and limits of a random small workshop, drawn near to where they begin to bind."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
from itertools import cycle
from math import ceil
from typing import Any, Final

Data = dict[str, Any]
#: Limits that are moved, and by how much at most, as a share.
_MOVED: Final = {
    "closed_refuse_factor": 0.15, "fold_refuse_factor": 0.1, "method_limit_hand_fine_mm": 0.4,
    "method_limit_machine_mm": 0.4, "burnish_edge_min_mm": 0.3, "paint_edge_min_mm": 0.3,
    "thickness_over_tolerance_mm": 0.9, "lot_range_mm": 0.3, "warn_share_of_limit": 0.1,
}  # fmt: skip
_GAP_MM: Final = 3


def pattern_of(draw: random.Random, pattern: Data) -> Data:
    """Return a pattern with other limits and fewer things to choose."""
    for seam in pattern["seams"].values():
        seam["limit_mm"] = _moved(draw, seam["limit_mm"], _thinnest(pattern, seam["layers"]))
    spine = pattern.get("spine")
    if spine is not None and "skived_to_mm" not in spine:
        layers = [{"panel": panel, "count": 1} for panel in spine["panels"]]
        spine["limit_mm"] = max(
            _moved(draw, spine["limit_mm"], _thinnest(pattern, layers)), draw.choice((0, spine["limit_mm"]))
        )
    closed = pattern["closed"]
    closed["limit_mm"] = round(closed["limit_mm"] * draw.choice((0.8, 0.9, 1, 1.2, 1.5)), 1)
    for panel in pattern["panels"].values():
        panel["reverse_seen"] = draw.random() < 0.1 or (panel["reverse_seen"] and draw.random() < 0.4)
    pattern["stitches"] = draw.sample(pattern["stitches"], draw.randint(1, len(pattern["stitches"])))
    pattern["zones"] = _sample(draw, pattern["zones"], draw.choice((0, 1, 1, 2)))
    pattern["modifications"] = draw.sample(
        pattern["modifications"], min(len(pattern["modifications"]), draw.choice((0, 1, 2)))
    )
    pattern["sizes"] = {code: _size(draw, code, size) for code, size in pattern["sizes"].items()}
    return pattern


def _size(draw: random.Random, code: str, size: Data) -> Data:
    """Return a size with a few values to choose from, ranges too: every complete spec is to be listed."""
    offered = size.get("offered") or {"waist_to_hole_mm": [880, 1_000], "length_mm": [1_200, 1_500]}[code]
    kept = sorted(draw.sample(offered, min(len(offered), draw.choice((1, 2, 2)))))
    return {"offered": kept, "default": draw.choice(kept)}


def _moved(draw: random.Random, limit: float, thinnest: float) -> float:
    """Return a limit between what the thinnest layers make and a little more than it was."""
    return ceil(10 * (thinnest + (limit - thinnest) * draw.choice((0.35, 0.45, 0.55, 0.7, 1, 1.2)))) / 10


def _thinnest(pattern: Data, layers: Iterable[Data]) -> float:
    return sum(
        layer["count"] * layer.get("skived_to_mm", pattern["panels"][layer["panel"]]["thickness_mm"]["min"])
        for layer in layers
    )


def lots_of(draw: random.Random, leathers: Data, kinds: Data, patterns: Mapping[str, Data]) -> Data:
    """Return one to three lots of each leather, each about as large as what some panels need.

    Lots suit one part after the other, so that each part has a leather more often than not.
    """
    lots: Data = {}
    parts = [(each, part) for each in patterns.values() for part in _panels_by_part(each)]
    turn = cycle(parts)
    for leather, row in leathers.items():
        share = kinds[row["kind"]]["yield"]
        pattern, part = draw.choice(parts) if row["status"] == "retired" else next(turn)
        if draw.random() < 0.35 and sum(panel["count"] for panel in _panels_by_part(pattern)[part]) > 1:
            made = _halves(draw, share, pattern, part)
        else:
            others = [next(turn) if len(parts) > 3 else draw.choice(parts) for _ in range(draw.choice((0, 0, 1, 1, 2)))]
            made = [_lot(draw, share, *each) for each in ((pattern, part), *others)]
        lots |= {f"L{len(lots) + place}": {"leather": leather} | lot for place, lot in enumerate(made, 1)}
    return lots


def _halves(draw: random.Random, share: float, pattern: Data, part: str) -> list[Data]:
    """Return two lots that hold a part together, neither of them alone."""
    panels = [panel for panel in _panels_by_part(pattern)[part] for _ in range(panel["count"])]
    at = len(panels) // 2
    one, other = (_lot(draw, share, pattern, part, [(panel, 1) for panel in own]) for own in (panels[:at], panels[at:]))
    return [one, other | {"thickness_mm": one["thickness_mm"], "color_de00": one["color_de00"]}]


def _lot(
    draw: random.Random, share: float, pattern: Data, part: str, held: list[tuple[Data, int]] | None = None
) -> Data:
    """Return a lot for a part: large enough for some panels, those given if any are."""
    rectangles = _rectangles(draw, pattern, held or _held(draw, pattern, part))
    net = sum(each["along"] * each["across"] for each in rectangles) / 10_000
    left = max(round(net / share * draw.choice((1.05, 1.2, 1.6, 2, 3)), 2), round(net + 0.01, 2))
    own = [panel["thickness_mm"] for panel in _panels_by_part(pattern)[part]]
    least, most = max(each["min"] for each in own), min(each["max"] for each in own)
    least = max(0.4, round(draw.uniform(least - 0.01, most), 2))
    return {
        "form": draw.choice(("skin", "remnant")), "mill_stamp": None, "stamp_unit": None, "left_dm2": left,
        "reserved_dm2": 0, "thickness_mm": {"min": least, "max": round(least + draw.choice((0.05, 0.1, 0.2)), 2)},
        "free_rectangles_mm": rectangles, "color_de00": draw.choice((0.4, 1.0, 1.8, 4.0)),
        "stamp_legible": draw.random() < 0.7, "grade": draw.choice("AAB"),
    }  # fmt: skip


def _held(draw: random.Random, pattern: Data, part: str) -> list[tuple[Data, int]]:
    """Return panels that a lot is to hold: some of a part, all of it, or those of a whole piece or two."""
    panels, own = list(pattern["panels"].values()), _panels_by_part(pattern)[part]
    match draw.randrange(12):
        case 0:
            return [(own[0], max(1, own[0]["count"] // 2))]
        case 1 | 2 | 3 | 4:
            return [(panel, panel["count"]) for panel in own]
        case 5 | 6 | 7 | 8:
            return [(panel, panel["count"]) for panel in panels]
        case _:
            return [(panel, 2 * panel["count"]) for panel in panels]


def _rectangles(draw: random.Random, pattern: Data, held: list[tuple[Data, int]]) -> list[Data]:
    """Return free rectangles that hold some panels, one for each size, hardly any larger than that."""
    found = []
    for panel, count in held:
        more = draw.choice((0, 4, 20, 40))
        across = count * (panel["cut_width_mm"] + (14 if pattern["sizes"] else 0) + _GAP_MM) + more
        found.append({"along": _length(pattern, panel) + more, "across": across})
    return found


def _length(pattern: Data, panel: Data) -> int:
    """Return how long a panel is cut at most, mm: belts and leads by what is asked for."""
    longest = [max(size["offered"]) for code, size in pattern["sizes"].items() if code.startswith(("waist", "length"))]
    return (
        max(int(panel["cut_height_mm"]) + 14, *(220 + each for each in longest))
        if longest
        else panel["cut_height_mm"] + 14
    )


def _panels_by_part(pattern: Data) -> dict[str, list[Data]]:
    found: dict[str, list[Data]] = {}
    for panel in pattern["panels"].values():
        found.setdefault(panel["part"], []).append(panel)
    return found


def prices_of(draw: random.Random, prices: Data, patterns: Mapping[str, Data]) -> Data:
    """Return the price list for some patterns, with other amounts and perhaps no price for a band."""
    scale = draw.choice((1, 1.5, 2, 3))
    base = {}
    for name in patterns:
        known, row = prices["base"][name], {}
        for place, band in enumerate(prices["bands"]):
            row[band] = round(scale * known.get(band, max(known.values()) + 20 * place))
        dropped = draw.choice((None, None, None, None, None, *list(row)[1:]))
        base[name] = {band: price for band, price in row.items() if band != dropped}
    parts = {panel["part"] for pattern in patterns.values() for panel in pattern["panels"].values()}
    for row in prices["surcharges"]:
        row["amount"] = draw.choice((row["amount"], 1, 7, 30))
    extra = {"code": "H-MACHINE", "says": "set-up of the machine", "amount": 6, "when": {"piece.stitch": "machine"}}
    return prices | {
        "base": base,
        "part_share": {part: share for part, share in prices["part_share"].items() if part in parts},
        "surcharges": [*prices["surcharges"], *([extra] if draw.random() < 0.4 else [])],
    }


def limits_of(draw: random.Random, limits: Data) -> Data:
    """Return the thresholds, some of them moved a little."""
    moved = dict(limits)
    for name, share in _MOVED.items():
        if name in moved and draw.random() < 0.3:
            value = float(moved[name]["value"]) * (1 + draw.uniform(-share, share))
            if name.endswith("_factor"):
                value = max(1.0, value)
            elif name == "warn_share_of_limit":
                value = min(1.0, value)
            moved[name] = moved[name] | {"value": round(value, 2)}
    return moved


def _sample(draw: random.Random, rows: Data, count: int) -> Data:
    kept = draw.sample(sorted(rows), min(len(rows), count))
    return {code: row for code, row in rows.items() if code in kept}
