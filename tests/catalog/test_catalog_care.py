"""Fields that a workshop may leave out: how sure a figure is, and what only rules after a check read."""

from __future__ import annotations

from datetime import date

import pytest

from catalog.goods import NO_CARE
from catalog.load import load_catalog
from catalog.model import Catalog
from catalog.strict_yaml import Faults


def test_what_is_left_out_is_not_known(tiny_catalog: Catalog) -> None:
    assert {lot.care for lot in tiny_catalog.lots.values()} == {NO_CARE}
    assert {thread.supply for thread in tiny_catalog.threads.values()} == {None}
    assert {edge.opened_on for edge in tiny_catalog.edges.values()} == {None}
    assert {kind.reports for kind in tiny_catalog.kinds.values()} == {None}
    assert {leather.weekly_um2 for leather in tiny_catalog.leathers.values()} == {None}
    fittings = tiny_catalog.hardware.values()
    assert {(each.flux_index, each.loose, each.faces_leather) for each in fittings} <= {(None, None, None)}
    for pattern in tiny_catalog.patterns.values():
        assert (pattern.faces, pattern.stamp_lands) == ((), None)
        assert {seam.from_edge_um for seam in pattern.seams.values()} <= {None}
        assert {fold.across_spine for fold in pattern.folds.values()} <= {None}
        assert {zone.mirrored for zone in pattern.zones.values()} <= {None}
    assert tiny_catalog.workshop.parcel_sachet is None


def test_what_is_written_is_read_exactly(oddlestone: Catalog) -> None:
    care = {code: lot.care for code, lot in oddlestone.lots.items()}
    assert care["L104"].measured_on == date(2026, 1, 19)
    assert care["L104"].never_measured is False
    assert care["L104"].counted_on == date(2026, 1, 30)
    assert (care["L116"].measured_on, care["L116"].never_measured) == (None, True)
    assert care["L118"].measured_damp is True
    assert care["L120"].humidity_percent == 70
    assert (care["L115"].forest_asked, care["L115"].forest_statement) == (True, "FS-2207")
    assert (care["L117"].forest_asked, care["L134"].forest_asked) == (False, True)
    assert oddlestone.threads["TH-P05-COR"].supply == "last_spool"
    assert oddlestone.edges["ED-PNT-GAR"].opened_on == date(2024, 12, 10)
    assert oddlestone.leathers["SH-BLK"].weekly_um2 == 15 * 10**9
    assert oddlestone.hardware["HW-MAG14"].flux_index == 62
    assert oddlestone.patterns["twofold"].seams["side"].from_edge_um == 3_500
    assert oddlestone.thresholds["wallet_weight_g"].value == 180


@pytest.mark.parametrize(
    ("file", "old", "new", "fault"),
    [
        ("lots.yaml", "measured_on: never", "measured_on: soon", "measured_on: expected a day such as 2026-02-16"),
        ("lots.yaml", "humidity_percent: 70", "humidity_percent: 101", "humidity_percent: 101 is more than 100"),
        ("lots.yaml", "measured_damp: true", "measured_damp: a bit", "measured_damp: expected true or false"),
        ("lots.yaml", "counted_on: 2025-10-01", "counted: 2025-10-01", "unknown field 'counted'"),
        ("threads.yaml", "supply: last_spool", "supply: last_spoool", "did you mean 'last_spool'?"),
        ("kinds.yaml", "reports: missing", "reports: lost", "expected one of on_file, missing"),
        ("edges.yaml", "opened_on: 2024-12-10", "opened_on: 2024", "opened_on: expected a day"),
        ("hardware.yaml", "flux_index: 62", "flux_index: -1", "flux_index: -1 is too small"),
        ("leathers.yaml", "demand_dm2_per_week: 1.5", "demand_dm2_per_week: much", "per_week: expected a number"),
        ("patterns.yaml", "faces: [inside, pockets]", "faces: [inside, pocket]", "did you mean 'pockets'?"),
        ("patterns.yaml", "stamp_lands: fold", "stamp_lands: nowhere", "expected one of clear, fold, seam, hole"),
        ("patterns.yaml", "from_edge_mm: 3.5", "from_edge_mm: 0", "from_edge_mm: 0 is too small"),
        ("patterns.yaml", "across_spine: true", "across_spine: maybe", "across_spine: expected true or false"),
        ("patterns.yaml", "mirrored: true", "mirrored: 1", "mirrored: expected true or false"),
        ("workshop.yaml", "parcel_sachet: tested", "parcel_sachet: silica", "expected one of none, tested, untested"),
    ],
)  # fmt: skip
def test_a_slip_in_one_of_them_is_a_fault_at_its_place(
    oddlestone_files: dict[str, str], file: str, old: str, new: str, fault: str
) -> None:
    assert old in oddlestone_files[file]
    with pytest.raises(Faults) as caught:
        load_catalog({**oddlestone_files, file: oddlestone_files[file].replace(old, new, 1)})
    assert fault in str(caught.value)
    assert str(caught.value).startswith(f"{file}:")
