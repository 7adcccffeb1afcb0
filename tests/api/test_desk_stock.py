"""Lots and supplies at the desk: what came in, what was found, what went, and the audit of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import delete, insert, update
from support.desk import LONG, WALLET, Desk, a_desk

from api.__main__ import main
from api.desk.audit import differences
from api.store.tables import ENTRIES, LOTS, SUPPLIES

SHELL: dict[str, Any] = {
    "leather": "SH-GAR",
    "form": "shell",
    "area_dm2": 18.0,
    "thickness_mm": {"min": 1.2, "max": 1.4},
    "rectangles_mm": [[330, 235]],
}


@pytest.fixture
def url(tmp_path: Path) -> str:
    return f"sqlite:///{tmp_path / 'store.sqlite3'}"


@pytest.fixture
def desk(url: str) -> Iterator[Desk]:
    with a_desk(url) as desk:
        yield desk


def found(desk: Desk) -> list[str]:
    with desk.house.store.read() as connection:
        return list(differences(connection, desk.house.catalog, desk.house.shelves.gap_um))


def fault(answer: Any) -> tuple[int, str, str]:
    (error,) = answer.json()["errors"]
    return answer.status_code, error["pointer"], error["code"]


def received(desk: Desk, **fields: Any) -> Any:
    return desk.post("/v1/lots", {**SHELL, **fields})


def test_a_new_lot_is_numbered_on_and_can_be_sold_from_at_once(desk: Desk) -> None:
    lot = received(desk).json()
    assert (lot["id"], lot["free_dm2"], lot["state"]) == ("L141", 18, "open")
    assert lot["entries"][0]["kind"] == "receive"
    spec = {**WALLET, "lots": {"outside": ["L141"]}}
    assert desk.post("/v1/checks", spec).json()["cut_from"][0]["lot"] == "L141"
    assert not found(desk)


def test_a_code_is_never_used_twice_whatever_its_case(desk: Desk) -> None:
    assert received(desk, code="shell-7").json()["id"] == "shell-7"
    assert fault(received(desk, code="SHELL-7")) == (409, "/code", "not_offered")
    desk.entry("/v1/lots/L139", "scrap", reason="moth")
    assert fault(received(desk, code="l139")) == (409, "/code", "not_offered")


@pytest.mark.parametrize("code", ["ED-BURN", "ed-burn", "FA-SER14", "Q2", "o1", "S7"])
def test_a_lot_never_takes_the_name_of_another_record_or_of_one_to_come(desk: Desk, code: str) -> None:
    assert fault(received(desk, code=code)) == (409, "/code", "not_offered")
    part = {"area_dm2": 2, "rectangles_mm": [], "rectangles_left_mm": []}
    assert fault(desk.entry("/v1/lots/L101", "remnant", **part, code=code)) == (409, "/code", "not_offered")
    assert [desk.quote(WALLET).json()["id"] for _ in range(2)] == ["Q1", "Q2"]


def test_a_very_long_number_is_a_name_and_counts_for_nothing(desk: Desk) -> None:
    assert received(desk, code="L" + "9" * 39).status_code == 201
    assert received(desk).json()["id"] == "L141"
    assert received(desk, code="L999999999").status_code == 201
    assert [received(desk).json()["id"] for _ in range(2)] == ["L1000000000", "L1000000001"]


@pytest.mark.parametrize(
    ("stamp", "unit", "area", "missing"),
    [
        pytest.param("2/0", "sqft_quarters", 17.381, None, id="1.2_dm2_less"),
        pytest.param("2/0", "sqft_quarters", 17.380, 12_006_080_000, id="a_little_more_than_1.2_dm2_less"),
        pytest.param("2/0", "sqft_quarters", 19.781, -12_003_920_000, id="too_much_is_a_claim_too"),
        pytest.param("20.0", "sqft_tenths", 180.232, None, id="3_percent_of_a_side"),
        pytest.param("20.0", "sqft_tenths", 180.231, 55_750_800_000, id="a_little_more_than_3_percent"),
        pytest.param("18.6", "dm2", 18.6, None, id="as_stamped"),
    ],
)
def test_a_stamp_that_differs_from_what_was_measured_is_claimed(
    desk: Desk, stamp: str, unit: str, area: float, missing: int | None
) -> None:
    lot = received(desk, mill_stamp=stamp, stamp_unit=unit, area_dm2=area, rectangles_mm=[]).json()
    assert lot["left_dm2"] == area
    assert lot["entries"][0].get("claim", {}).get("missing_um2") == missing


@pytest.mark.parametrize(
    ("fields", "pointer", "code"),
    [
        pytest.param({"leather": "SH-NONE"}, "/leather", "not_offered", id="leather"),
        pytest.param({"area_dm2": 0, "rectangles_mm": []}, "/area_dm2", "too_small", id="nothing"),
        pytest.param({"area_dm2": 7}, "/rectangles_mm", "too_large", id="rectangles"),
        pytest.param({"thickness_mm": {"min": 2, "max": 1}}, "/thickness_mm", "wrong_order", id="thickness"),
        pytest.param({"mill_stamp": "2/0"}, "/stamp_unit", "missing", id="stamp_alone"),
        pytest.param({"mill_stamp": "2/4", "stamp_unit": "sqft_quarters"}, "/mill_stamp", "wrong_text", id="quarters"),
    ],
)
def test_what_cannot_be_received_is_named_and_nothing_is_written(
    desk: Desk, fields: dict[str, Any], pointer: str, code: str
) -> None:
    before = desk.house.store.revisions()
    assert fault(received(desk, **fields)) == (409, pointer, code)
    assert desk.house.store.revisions() == before
    assert desk.get("/v1/lots/L141").status_code == 404


def test_a_count_says_what_is_and_lowers_what_was_reserved(desk: Desk) -> None:
    lot = desk.entry("/v1/lots/L104", "count", area_dm2=5.0, rectangles_mm=[]).json()
    assert (lot["left_dm2"], lot["reserved_dm2"], lot["free_dm2"], lot["rectangles_mm"]) == (5, 5, 0, [])
    assert lot["counted_on"] == "2026-03-02"
    assert not found(desk)


def test_a_count_is_accepted_although_something_is_set_aside_and_the_newest_hold_is_short(desk: Desk) -> None:
    first, second = (desk.quote(WALLET).json()["id"] for _ in range(2))
    counted = desk.entry("/v1/lots/L105", "scrap", reason="mold")
    assert counted.json()["short"] == []
    counted = desk.entry("/v1/lots/L104", "count", area_dm2=11.5)
    assert (counted.status_code, counted.json()["short"]) == (201, [second])
    assert (desk.state(first), desk.state(second)) == ("held", "short")
    assert not found(desk)


def test_a_cut_that_nobody_ordered_takes_what_is_not_left(desk: Desk) -> None:
    path = "/v1/lots/L101"
    lot = desk.entry(path, "cut", area_left_dm2=18.25, rectangles_left_mm=[[400, 200]], reason="a sample").json()
    assert (lot["left_dm2"], lot["rectangles_mm"]) == (18.25, [[400, 200]])
    assert lot["entries"][-1]["took_um2"] == 22_500_000_000
    more = desk.entry(path, "cut", area_left_dm2=18.5, rectangles_left_mm=[], reason="the book was wrong").json()
    assert (more["left_dm2"], more["entries"][-1]["took_um2"]) == (18.5, 0)
    wide = desk.entry(path, "recut", area_left_dm2=1, rectangles_left_mm=[[101, 100]], reason="a slip")
    assert fault(wide) == (409, "/rectangles_left_mm", "too_large")
    assert not found(desk)


def test_a_remnant_is_a_lot_of_its_own_and_takes_its_area_from_the_other(desk: Desk) -> None:
    sides = {"rectangles_mm": [[180, 65]], "rectangles_left_mm": [[420, 270]]}
    lot = desk.entry("/v1/lots/L101", "remnant", area_dm2=2.5, **sides).json()
    assert (lot["left_dm2"], lot["rectangles_mm"], lot["entries"][-1]["remnant"]) == (18, [[420, 270]], "L141")
    child = desk.lot("L141")
    assert [child[name] for name in ("parent", "form", "leather", "grade", "left_dm2", "rectangles_mm")] == [
        "L101", "remnant", "SH-BLK", "A", 2.5, [[180, 65]],
    ]  # fmt: skip
    assert child["thickness_mm"] == {"min": 1.3, "max": 1.5}
    thin = {"thickness_mm": {"min": 1.3, "max": 1.35}, "rectangles_mm": [], "rectangles_left_mm": []}
    desk.entry("/v1/lots/L141", "remnant", area_dm2=2.5, **thin)
    assert (desk.lot("L141")["left_dm2"], desk.lot("L142")["parent"]) == (0, "L141")
    none_left = desk.entry("/v1/lots/L141", "remnant", area_dm2=0.001, **thin)
    assert fault(none_left) == (409, "/area_dm2", "too_large")
    assert not found(desk)


def test_scrap_needs_a_reason_and_leaves_nothing_until_some_is_found_again(desk: Desk) -> None:
    assert desk.entry("/v1/lots/L101", "scrap").status_code == 422
    gone = desk.entry("/v1/lots/L101", "scrap", reason="mold").json()
    assert (gone["state"], gone["left_dm2"], gone["rectangles_mm"]) == ("scrap", 0, [])
    measured = desk.entry("/v1/lots/L101", "measure", thickness_mm={"min": 1.2, "max": 1.4})
    assert (measured.status_code, measured.json()["type"]) == (409, "/problems/wrong-state")
    assert desk.entry("/v1/lots/L101", "count", area_dm2=0).json()["state"] == "scrap"
    assert desk.entry("/v1/lots/L101", "count", area_dm2=3).json()["state"] == "open"
    assert not found(desk)


def test_the_state_of_a_lot_tells_whether_it_is_held_or_the_last(desk: Desk) -> None:
    assert (desk.lot("L108")["state"], desk.lot("L104")["state"]) == ("last", "open")
    desk.quote(WALLET)
    held = desk.lot("L104")
    assert (held["state"], held["held_dm2"]) == ("held", 3.579)
    assert held["free_dm2"] == 6.721  # 17.8 left, 7.5 reserved


def test_thread_runs_out_and_comes_back(desk: Desk) -> None:
    path = "/v1/supplies/TH-P05-COR"
    assert fault(desk.entry(path, "use", amount=2.001)) == (409, "/amount", "too_large")
    assert desk.entry(path, "use", amount=2).json()["state"] == "out"
    back = desk.entry(path, "receive", amount=0.5).json()
    assert (back["state"], back["left"], back["unit"]) == ("active", 0.5, "m")
    assert [entry["kind"] for entry in back["entries"]] == ["receive", "use", "receive"]
    assert desk.entry(path, "count", amount=0).json()["state"] == "out"
    assert not found(desk)


def test_a_sort_put_right_is_worn_no_more(desk: Desk) -> None:
    path = "/v1/supplies/FA-SER14"
    assert desk.entry(path, "wear", sorts={"Q": 1, "A": 2}).json()["sorts"]["Q"] == [3, 2]
    assert desk.entry(path, "count", sorts={"Q": [3, 0]}).json()["sorts"]["Q"] == [3, 0]
    assert desk.entry(path, "receive", sorts={"Q": 1}).json()["sorts"]["Q"] == [4, 0]
    assert desk.get(path).json()["sorts"]["A"] == [6, 2]
    assert not found(desk)


@pytest.mark.parametrize(
    ("code", "kind", "fields", "pointer"),
    [
        pytest.param("FA-SER14", "wear", {"sorts": {"Q": 3}}, "/sorts", id="more_worn_than_there_are"),
        pytest.param("FA-SER14", "wear", {"sorts": {"Q": -2}}, "/sorts", id="more_put_right_than_are_worn"),
        pytest.param("FA-SER14", "count", {"sorts": {"Q": [1, 2]}}, "/sorts", id="worn_beyond_all"),
        pytest.param("FA-SER14", "use", {"amount": 1}, "/sorts", id="type_is_not_used_up"),
        pytest.param("TH-P05-COR", "wear", {"sorts": {"Q": 1}}, "/amount", id="thread_is_not_type"),
        pytest.param("HW-RING30-SS", "count", {"amount": 1.5}, "/amount", id="half_a_ring"),
    ],
)
def test_a_supply_is_counted_in_its_own_measure(
    desk: Desk, code: str, kind: str, fields: dict[str, Any], pointer: str
) -> None:
    answer = desk.entry(f"/v1/supplies/{code}", kind, **fields)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (409, pointer)


def changed(desk: Desk, statement: Any) -> list[str]:
    """Change the store behind its back and return what the audit says."""
    with desk.house.store.write() as write:
        write.connection.execute(statement)
    return found(desk)


def test_the_audit_finds_a_row_that_its_entries_do_not_make(desk: Desk) -> None:
    lot = update(LOTS).where(LOTS.c.code == "L101").values(left_um2=LOTS.c.left_um2 - 1)
    assert [line.split(":")[0] for line in changed(desk, lot)] == ["lot L101"]
    supply = update(SUPPLIES).where(SUPPLIES.c.code == "TH-P05-COR").values(state="out")
    assert [line.split(":")[0] for line in changed(desk, supply)] == ["lot L101", "supply TH-P05-COR"]


def test_the_audit_finds_an_entry_that_is_missing_though_the_balance_is_right(desk: Desk) -> None:
    desk.entry("/v1/lots/L101", "count", area_dm2=5, rectangles_mm=[])
    desk.entry("/v1/lots/L101", "count", area_dm2=4)
    assert changed(desk, delete(ENTRIES).where(ENTRIES.c.id == "L101.2"))[0] == "lot L101: entries are missing"
    assert len(changed(desk, delete(ENTRIES).where(ENTRIES.c.record == "ED-BURN"))) >= 2


def test_the_audit_finds_entries_of_nothing_and_entries_that_nobody_can_read(desk: Desk) -> None:
    row = {"noun": "lot", "at": "2026-03-02T00:00:00.000000Z", "by": "someone", "body": "{}"}
    ghost = insert(ENTRIES).values(**row, id="L999.1", record="L999", number=1, kind="scrap")
    assert changed(desk, ghost) == ["lot L999: there are entries, and no lot"]
    odd = insert(ENTRIES).values(**row, id="L101.2", record="L101", number=2, kind="gnaw")
    assert changed(desk, odd)[0].startswith("lot L101: an entry cannot be read")


def test_the_audit_names_what_is_set_aside_and_does_not_lie(desk: Desk) -> None:
    desk.quote(LONG)  # two long wallets from L106
    desk.quote(WALLET)
    assert not found(desk)
    said = changed(desk, update(LOTS).where(LOTS.c.code == "L106").values(rectangles="[[100000,100000]]"))
    assert said[-1] == "lot L106: what is set aside in it does not lie in what is there"
    said = changed(desk, update(LOTS).where(LOTS.c.code == "L104").values(state="scrap"))
    assert "lot L104: panels are set aside in it, and it is not there" in said
    said = changed(desk, update(SUPPLIES).where(SUPPLIES.c.code == "TH-P05-GAR").values(left_base=1))
    assert said[-1].startswith("supply TH-P05-GAR: ")
    assert said[-1].endswith(" is set aside of 1 left")


def test_the_audit_of_the_command_line_tells_by_its_exit_code(
    url: str, desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    environ = {"QUARTERFOOT_DATABASE_URL": url, "QUARTERFOOT_TODAY": "2026-03-02"}
    assert main(["audit"], environ) == 0
    changed(desk, update(LOTS).where(LOTS.c.code == "L101").values(left_um2=1))
    assert main(["audit"], environ) == 1
    assert "lot L101" in capsys.readouterr().out


def test_the_audit_makes_no_store_where_there_is_none(url: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["audit"], {"QUARTERFOOT_DATABASE_URL": url}) == 2
    assert not Path(url.removeprefix("sqlite:///")).exists()
    assert capsys.readouterr().err == "there is no store at the database URL\n"
