"""The total of every row of a table, from the rows of the price list."""

from __future__ import annotations

from fractions import Fraction
from math import lcm

import numpy as np
from numpy.typing import NDArray

from catalog.model import Number
from rules.cells import scoped
from rules.facets import Facet
from rules.pricing import has_cell, settle
from rules.sheet import Sheet, combined
from rules.table import Codes, Table
from rules.tariff import Row


def totals_of(sheet: Sheet) -> NDArray[np.int64]:
    """Return each row's total in minor units, -1 where there is no price."""
    table, tariff = sheet.table, sheet.shop.indexes.tariff
    priceable = np.full(table.rows, table.pattern.code in tariff.rows, dtype=bool)
    for part in table.pattern.parts:
        leather = sheet.facet(("leather", part))
        kinds = [sheet.piece(int(row)).parts[part].kind for row in leather.first]
        known = [has_cell(sheet.piece(int(row)), kind) for row, kind in zip(leather.first, kinds, strict=True)]
        priceable &= np.array([bool(each) for each in known], dtype=bool)[leather.codes]
    amounts: list[tuple[Codes, list[Number]]] = []
    for row in tariff.rows.get(table.pattern.code, ()):
        slots = [sheet.facet(facet) for facet in sorted(_facets_of(row, table))]
        inverse, first = combined([(each.codes, len(each.numbers)) for each in slots], table.rows)
        lines = [row.line(sheet.piece(int(each))) for each in first]
        amounts.append((inverse, [0 if line is None else line.amount_minor for line in lines]))
    share = lcm(*(amount.denominator for _, found in amounts for amount in found))
    subtotal = np.zeros(table.rows, dtype=np.int64)
    for inverse, found in amounts:
        subtotal += np.array([int(amount * share) for amount in found], dtype=np.int64)[inverse]
    different, place = np.unique(subtotal, return_inverse=True)
    rush, quantity = sheet.facet(("rush", "")), sheet.facet(("quantity", ""))
    columns = [(place, len(different)), (rush.codes, len(rush.numbers)), (quantity.codes, len(quantity.numbers))]
    inverse, first = combined(columns, table.rows)
    totals = np.array([_settled(sheet, int(row), Fraction(int(subtotal[row]), share)) for row in first], dtype=np.int64)
    return np.where(priceable, totals[inverse] if len(totals) else 0, -1)


def _settled(sheet: Sheet, row: int, subtotal: Fraction) -> int:
    """Return the total of a row whose price rows sum up to so much for a piece, minor units."""
    spec = sheet.piece(row).spec
    _, _, each = settle(sheet.shop.indexes.tariff, subtotal, rush=spec.rush, quantity=spec.quantity)
    return each * spec.quantity


def _facets_of(row: Row, table: Table) -> set[Facet]:
    return {facet for read in row.reads for facet in scoped(read, row.of or None, table.pattern.parts)}
