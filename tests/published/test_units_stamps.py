"""Hide stamps against the reference work.

Source: Roberts and Etherington, Bookbinding and the Conservation of Books, entry "footage"
(quarters in England, tenths in the United States); the point for quarters: a trade page.
"""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from catalog.stamps import stamp_um2
from catalog.units import SQUARE_FOOT_UM2

with (Path(__file__).parent / "data" / "hide_area_stamps.csv").open(encoding="utf-8", newline="") as _file:
    STAMPS = list(csv.DictReader(_file))


@pytest.mark.parametrize("row", STAMPS, ids=lambda row: f"{row['stamp']} in {row['notation']}")
def test_a_stamp_is_the_area_that_its_notation_gives_or_refused(row: dict[str, str]) -> None:
    convention = f"sqft_{row['notation']}"
    if row["square_feet"]:
        assert stamp_um2(row["stamp"], convention) == Fraction(row["square_feet"]) * SQUARE_FOOT_UM2
    else:
        with pytest.raises(ValueError, match="quarters"):
            stamp_um2(row["stamp"], convention)
