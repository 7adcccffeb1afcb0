"""Never oversold, checked from the raw rows with nothing of the desk's own code.

A layout of all that is set aside in a lot is taken from the engine as a certificate and checked here by
geometry alone; areas, supplies and ledgers are added up from the rows.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from fractions import Fraction
from typing import Any

from sqlalchemy import Connection, text

from catalog.model import Catalog
from rules.layout import Piece, Rect, lay_out

Panel = tuple[int, int, bool]


def faults(connection: Connection, catalog: Catalog, gap_um: int) -> list[str]:
    """Return what is wrong with a store, in words."""
    lots = {row.code: row for row in connection.execute(text("SELECT * FROM lot"))}
    supplies = {row.code: row.left_base for row in connection.execute(text("SELECT * FROM supply"))}
    panels: dict[str, Counter[Panel]] = defaultdict(Counter)
    used: Counter[str] = Counter()
    for (needs,) in connection.execute(text("SELECT needs FROM hold WHERE state = 'live'")):
        for need in json.loads(needs):
            for lot, _, _, along, across, turnable, count in need["panels"]:
                panels[lot][along, across, bool(turnable)] += count
            for name in ("thread_um", "edge_ul", "foil_um", "hardware"):
                used.update(need[name])
    found = [
        f"{code}: {amount} set aside, {supplies[code]} there"
        for code, amount in used.items()
        if supplies[code] < amount
    ]
    for code, own in panels.items():
        found += _lot_faults(lots[code], own, catalog, gap_um)
    found += _ledger_faults(connection, lots, supplies)
    return found


def _lot_faults(row: Any, own: Counter[Panel], catalog: Catalog, gap: int) -> list[str]:
    share = catalog.leathers[row.leather].kind.yield_ratio
    net = sum((along + gap) * (across + gap) * count for (along, across, _), count in own.items())
    found = []
    if Fraction(net) / share > row.left_um2 - row.reserved_um2:
        found.append(f"{row.code}: the area does not suffice")
    rects = json.loads(row.rectangles)
    pieces = [Piece(along, across, turnable, count, "x") for (along, across, turnable), count in sorted(own.items())]
    layout = lay_out(pieces, [Rect(*rect) for rect in rects], gap)
    if not layout.found:
        return [*found, f"{row.code}: no layout"]
    laid: Counter[tuple[int, int]] = Counter()
    boxes: dict[int, list[tuple[int, int, int, int]]] = defaultdict(list)
    for place in layout.placements:
        low_a, low_c = place.at_along_um, place.at_across_um
        high_a, high_c = low_a + place.along_um, low_c + place.across_um
        if min(low_a, low_c) < 0 or high_a > rects[place.rect][0] or high_c > rects[place.rect][1]:
            found.append(f"{row.code}: a panel reaches over its rectangle")
        for a0, c0, a1, c1 in boxes[place.rect]:
            if low_a < a1 + gap and a0 < high_a + gap and low_c < c1 + gap and c0 < high_c + gap:
                found.append(f"{row.code}: two panels are too close")
        boxes[place.rect].append((low_a, low_c, high_a, high_c))
        size = place.along_um, place.across_um
        laid[size[::-1] if place.turned else size] += 1
        if place.turned and not own[*size[::-1], True]:
            found.append(f"{row.code}: a panel lies against its direction")
    asked: Counter[tuple[int, int]] = Counter()
    for (along, across, _), count in own.items():
        asked[along, across] += count
    if laid != asked:
        found.append(f"{row.code}: not every panel lies")
    return found


def _ledger_faults(connection: Connection, lots: dict[str, Any], supplies: dict[str, int | None]) -> list[str]:
    areas: dict[str, int] = {}
    amounts: dict[str, int | None] = {}
    numbers: dict[tuple[str, str], int] = defaultdict(int)
    rows = connection.execute(text("SELECT noun, record, number, kind, body FROM entry ORDER BY noun, record, number"))
    found = []
    for noun, record, number, kind, body in rows:
        numbers[noun, record] += 1
        if number != numbers[noun, record]:
            found.append(f"{record}: entry {numbers[noun, record]} is missing")
        entry = json.loads(body)
        if noun == "lot":
            left = areas.get(record, 0)
            left = (
                0
                if kind == "scrap"
                else max(0, left - entry["took_um2"])
                if "took_um2" in entry
                else entry.get("left_um2", left)
            )
            areas[record] = left
        elif noun == "supply":
            here = amounts.get(record)
            if "left_base" in entry:
                amounts[record] = entry["left_base"]
            elif here is not None:
                amounts[record] = max(0, here + entry.get("add_base", 0) - entry.get("used_base", 0))
    found += [
        f"{code}: {areas.get(code)} by its entries, {row.left_um2} in the book"
        for code, row in lots.items()
        if areas.get(code) != row.left_um2
    ]
    found += [
        f"{code}: {amounts.get(code)} by its entries, {left} in the book"
        for code, left in supplies.items()
        if amounts.get(code) != left
    ]
    return found
