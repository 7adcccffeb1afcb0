"""Tax included in a price: total x rate / (1 + rate), half even.

Source: a tax authority's page on VAT fractions (first seven rows); the other rows were computed
with the standard library's decimal arithmetic.
"""

from __future__ import annotations

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from rules.pricing import tax_included

DATA = Path(__file__).parent / "data"
with (DATA / "tax_inclusive_cases.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['gross']} at {row['rate']}")
def test_tax_included_is_the_published_figure(row: dict[str, str]) -> None:
    gross = int(Decimal(row["gross"]) * 100)
    tax = tax_included(gross, Fraction(row["rate"]))
    assert Decimal(tax) / 100 == Decimal(row["tax_half_even"])
    assert Decimal(gross - tax) / 100 == Decimal(row["net_half_even"])


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['gross']} at {row['rate']}")
def test_the_vat_fraction_is_rate_over_one_plus_rate(row: dict[str, str]) -> None:
    rate = Fraction(row["rate"])
    assert rate / (1 + rate) == Fraction(row["tax_fraction"])
