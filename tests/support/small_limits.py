"""Patterns, lots, prices and limits of a random small workshop, drawn near to where they begin to bind."""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping
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
        spine["limit_mm"] = _moved(draw, spine["limit_mm"], _thinnest(pattern, layers))
    closed = pattern["closed"]
    closed["limit_mm"] = round(closed["limit_mm"] * draw.choice((0.7, 0.8, 0.9, 1, 1.2)), 1)
    for panel in pattern["panels"].values():
        panel["reverse_seen"] = draw.random() < 0.2 or (panel["reverse_seen"] and draw.random() < 0.7)
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
    return ceil(10 * (thinnest + (limit - thinnest) * draw.choice((0.3, 0.5, 0.7, 0.9, 1, 1.1)))) / 10


def _thinnest(pattern: Data, layers: Iterable[Data]) -> float:
    return sum(
        layer["count"] * layer.get("skived_to_mm", pattern["panels"][layer["panel"]]["thickness_mm"]["min"])
        for layer in layers
    )


def lots_of(draw: random.Random, leathers: Data, kinds: Data, patterns: Mapping[str, Data]) -> Data:
    """Return one to three lots of each leather, each about as large as what some panels need."""
    lots: Data = {}
    for leather, row in leathers.items():
        share = kinds[row["kind"]]["yield"]
        for _ in range(draw.choice((1, 1, 2, 2, 3))):
            code = f"L{len(lots) + 1}"
            lots[code] = {"leather": leather} | _lot(
                draw, share, draw.choice(list(patterns.values())), kinds[row["kind"]]
            )
    return lots


def _lot(draw: random.Random, share: float, pattern: Data, kind: Data) -> Data:
    rectangles = _rectangles(draw, pattern)
    net = sum(each["along"] * each["across"] for each in rectangles) / 10_000
    left = round(net / share * draw.choice((0.9, 1.05, 1.3, 2, 3)), 2)
    left = max(left, round(net + 0.01, 2))
    panel = draw.choice(list(pattern["panels"].values()))["thickness_mm"]
    least = round(draw.uniform(panel["min"] - 0.15, panel["max"] + 0.25), 2)
    least = max(0.4, least)
    return {
        "form": draw.choice(("skin", "remnant")), "mill_stamp": None, "stamp_unit": None, "left_dm2": left,
        "reserved_dm2": 0, "thickness_mm": {"min": least, "max": round(least + draw.choice((0.05, 0.1, 0.2)), 2)},
        "free_rectangles_mm": rectangles, "color_de00": draw.choice((0.4, 1.0, 1.8, 4.0)),
        "stamp_legible": draw.random() < 0.7, "grade": draw.choice("AAB"),
    }  # fmt: skip


def _rectangles(draw: random.Random, pattern: Data) -> list[Data]:
    """Return free rectangles that hold some panels of one part, all of one, or all panels of the piece."""
    panels = list(pattern["panels"].values())
    part = draw.choice(panels)["part"]
    own = [panel for panel in panels if panel["part"] == part]
    match draw.randrange(5):
        case 0:
            held = [(own[0], max(1, own[0]["count"] // 2))]
        case 1 | 2:
            held = [(panel, panel["count"]) for panel in own]
        case 3:
            held = [(panel, panel["count"]) for panel in panels]
        case _:
            held = [(panel, 3 * panel["count"]) for panel in panels]
    found = []
    for panel, count in held:
        more = draw.choice((0, 0, 4, 20))
        across = count * (panel["cut_width_mm"] + 14 + _GAP_MM) + more
        found.append({"along": panel["cut_height_mm"] + 14 + more, "across": across})
    return found


def prices_of(draw: random.Random, prices: Data, patterns: Mapping[str, Data]) -> Data:
    """Return the price list for some patterns, with other amounts and perhaps no price for a band."""
    scale = draw.choice((0.7, 1, 1.4))
    base = {}
    for name in patterns:
        row = {band: round(price * scale) for band, price in prices["base"][name].items()}
        dropped = draw.choice((None, None, *list(row)[1:]))
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
