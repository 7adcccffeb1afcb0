"""Whole tables: nanoseconds a row, against single checks, hand-written closures and copying the same bytes."""

from __future__ import annotations

import gc
import time
from dataclasses import replace
from typing import Any

import numpy as np

from catalog.model import Pattern
from measure.closures import CLOSURES
from measure.in_process import demo_anew, microseconds
from measure.report import Figure
from measure.workshop import TODAY
from rules.check import judge
from rules.columns import judge_table
from rules.shop import Shop
from rules.spec import Monogram, PartChoice
from rules.table import Column, Table, part_slot
from rules.themes import known_good

_TEXTS = ("A.B.", "Q", "ANNA", "JO", "W", "LEA", "T.O.M.", "OTTO")


def bulk(*, quick: bool) -> list[Figure]:
    """Measure a table of rows of all patterns, no two alike."""
    rows = 1_000 if quick else 200_000
    shop = demo_anew()
    patterns = list(shop.catalog.patterns.values())
    tables = [table_of(shop, pattern, rows // len(patterns), seed) for seed, pattern in enumerate(patterns)]
    rows = sum(table.rows for table in tables)
    gc.collect()
    begun = time.process_time()
    judged = [judge_table(shop, table, TODAY) for table in tables]
    each = (time.process_time() - begun) / rows * 1e9
    refused = np.mean([each.refused().mean() for each in judged])

    few = max(1, (48 if quick else 1_200) // len(patterns))
    specs = [table.spec(row * (table.rows // few)) for table in tables for row in range(few)]
    fresh = demo_anew()
    alone = microseconds(lambda spec: judge(fresh, spec, TODAY), specs) * 1e3
    pieces = [shop.piece(spec) for spec in specs]
    closures = microseconds(lambda piece: [rule(piece) for rule in CLOSURES], pieces) * 1e3
    copied = _copying(tables)
    return [
        Figure("rows, no two alike", f"{rows}, {refused:.0%} refused"),
        Figure("bulk, ns a row", f"{each:.0f}"),
        Figure("verdict of a single row, ns", f"{alone:.0f}"),
        Figure("single rows to bulk", f"{alone / each:.1f}"),
        Figure(f"{len(CLOSURES)} rules by hand-written closures, ns a row", f"{closures:.0f}"),
        Figure("bulk (all rules, lots, totals) to closures", f"{each / closures:.1f}"),
        Figure("copying the same bytes, ns a row", f"{copied:.1f}"),
        Figure("bulk to copying", f"{each / copied:.0f}"),
    ]


def _copying(tables: list[Table]) -> float:
    """Return nanoseconds a row for copying the codes in and two words and a total out."""
    columns = [column.codes for table in tables for column in table.columns.values()]
    outs = [np.zeros((table.rows, 3), dtype=np.uint64) for table in tables]
    begun = time.process_time()
    rounds = 20
    for _ in range(rounds):
        for column in (*columns, *outs):
            column.copy()
    return (time.process_time() - begun) / rounds / sum(table.rows for table in tables) * 1e9


def table_of(shop: Shop, pattern: Pattern, rows: int, seed: int) -> Table:
    """Return random specs of a pattern, no two alike: leathers that suit a part by themselves, and all else mixed."""
    catalog, good = shop.catalog, known_good(pattern)
    faces, zone = list(catalog.typefaces), next(iter(pattern.zones), None)
    values: dict[str, list[Any]] = {
        **{
            part_slot(part): [
                asked
                for code in catalog.leathers
                for asked in (PartChoice(code, "grain"), PartChoice(code, "flesh"))
                if judge(shop, replace(good, parts={**good.parts, part: asked}), TODAY).outcome != "refused"
            ]
            for part in pattern.parts
        },
        "thread": [*catalog.threads, "match"],
        "stitch": [None, *pattern.stitches],
        "edge": [*(code for code, each in catalog.edges.items() if each.finish in pattern.edge_finishes), "match"],
        "hardware": [tuple(good.hardware.items())],
        "sizes": [tuple(good.sizes_um.items())],
        "monogram": [
            None,
            *(Monogram(text, method, face, zone) for text in _TEXTS for method in ("blind", "ink") for face in faces),
        ],
        "modifications": [(), *((code,) for code in pattern.modifications)],
        "carry": [good.carry, *(replace(good.carry, cards=cards) for cards in range(14))],
        "purpose": [good.purpose],
        "quantity": [1, 2, 3, 5],
        "ship_to": [None, "US", "DE"],
        "rush": [False, True],
        "ready_by": [None],
        "named": [()],
        "repeat": [None],
        "revision": [None],
        "foreign": [()],
        "note": [False],
        "marks_ok": [None],
        "mixed_metals_ok": [None],
    }
    draw = np.random.default_rng(seed)
    codes = {slot: draw.integers(0, len(own), rows * 2) for slot, own in values.items()}
    _, first = np.unique(np.stack(list(codes.values())), axis=1, return_index=True)
    kept = np.sort(first)[:rows]
    columns = {slot: Column(tuple(own), codes[slot][kept]) for slot, own in values.items()}
    return Table(pattern, columns, len(kept))
