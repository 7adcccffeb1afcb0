"""Thread: counts, stitches an inch, and the length that a seam takes."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from catalog.model import Layer, Seam
from catalog.units import denier_of, metric_number_of, stitches_per_inch
from rules.thread import saddle_stitch_um, stitches_at

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    "row", [row for row in rows("thread_counts.csv") if row["tex"].isdigit()], ids=lambda row: row["tex"]
)
def test_tex_denier_and_metric_number_agree_with_their_definitions(row: dict[str, str]) -> None:
    """Source: exact definitions (tex = g/km, denier = g/9 km, Nm = m/g), as GNU units 2.22 states them."""
    tex = int(row["tex"])
    assert denier_of(tex) == int(row["denier"])
    assert round(float(metric_number_of(tex)), 4) == float(row["nm"])


@pytest.mark.parametrize("row", rows("stitch_pitch.csv"), ids=lambda row: row["stitches_per_unit"])
def test_stitches_an_inch_and_pitch_are_inverse(row: dict[str, str]) -> None:
    """Source: exact, 1 in = 25.4 mm (international yard and pound agreement of 1959)."""
    pitch_um = round(Fraction(row["pitch_mm_inch"]) * 1000)
    assert round(stitches_per_inch(pitch_um)) == int(row["stitches_per_unit"])


LOCKSTITCH = [row for row in rows("thread_consumption_formula.csv") if row["stitch_type"] == "301"]


@pytest.mark.parametrize("row", LOCKSTITCH, ids=lambda row: row["thread_per_unit_seam"])
def test_two_threads_through_each_hole_take_the_published_length(row: dict[str, str]) -> None:
    """Source: apparel-engineering pages, formula for ISO 4915 stitch type 301 and its worked example.

    Thread a unit of seam = 2 + 2 x thickness x stitches a unit. A saddle stitch, too, lays two
    threads along each pitch and two through each hole, so its length is the same.
    """
    per_inch, thickness = Fraction(row["stitches_per_in"]), Fraction(row["seam_thickness_in"])
    inch_um = 25_400
    ours = saddle_stitch_um(Fraction(inch_um) / per_inch, thickness * inch_um) * per_inch / inch_um
    assert round(float(ours), 6) == float(row["thread_per_unit_seam"])


def test_a_seam_of_stitches_is_rounded_half_up() -> None:
    """176 mm at 3.0 mm: 58.67, so 59 stitches; common practice, no source."""
    seam = Seam("side", 176_000, 4_800, (Layer("outside", 1),))
    assert stitches_at(seam.length_um, 3_000) == 59
    assert stitches_at(4_500, 3_000) == 2
    assert stitches_at(4_499, 3_000) == 1
