"""The checklists of an order, before the knife and before the parcel, each rule at its limit and one step past.

Everything goes the way that a caller goes: a quote is made, agreed to and ordered over HTTP, its checklists read.
What the catalog says of a lot or a bottle is changed in a copy of the demo workshop's files.
"""

from __future__ import annotations

import base64
import hashlib
from datetime import date, timedelta
from typing import Any

import pytest
from support.desk import TODAY, WALLET, Desk
from support.jobs import CLIP, GOAT, LEAD, UPRIGHT, Workshop, lettered, lines, lot, ordered


def days_ago(days: int) -> str:
    return (TODAY - timedelta(days=days)).isoformat()


MEASURED = "measured_on: 2026-01-19"
COUNTED = "counted_on: 2026-01-30"


@pytest.mark.parametrize(
    ("rule", "spec", "edits", "speaks"),
    [
        ("THK-09", WALLET, (lot("L104", MEASURED, f"measured_on: {days_ago(365)}"),), False),
        ("THK-09", WALLET, (lot("L104", MEASURED, f"measured_on: {days_ago(366)}"),), True),
        ("THK-09", WALLET, (lot("L104", MEASURED, "measured_on: never"),), True),
        ("THK-09", WALLET, (lot("L104", f"{MEASURED}, ", ""),), False),
        ("THK-09", LEAD, (), True),
        ("THK-10", WALLET, (lot("L104", MEASURED, "humidity_percent: 65"),), False),
        ("THK-10", WALLET, (lot("L104", MEASURED, "humidity_percent: 65.5"),), True),
        ("THK-10", WALLET, (lot("L104", MEASURED, "measured_damp: true"),), True),
        ("THK-10", WALLET, (lot("L104", MEASURED, "measured_damp: false"),), False),
        ("THK-10", WALLET, (), False),
        ("STO-10", WALLET, (lot("L104", COUNTED, f"counted_on: {days_ago(90)}"),), False),
        ("STO-10", WALLET, (lot("L104", COUNTED, f"counted_on: {days_ago(91)}"),), True),
        ("STO-10", WALLET, (lot("L104", f", {COUNTED}", ""),), False),
        ("STK-06", {**WALLET, "parts": {**WALLET["parts"], "inside": {"leather": "PG-SAN"}}}, (
            lot("L104", "min: 1.2, max: 1.4", "min: 1.3, max: 1.4"),), False),
        ("STK-06", {**WALLET, "parts": {**WALLET["parts"], "inside": {"leather": "PG-SAN"}}}, (
            lot("L131", "max: 0.6", "max: 0.55"), lot("L132", "max: 0.6", "max: 0.55")), True),
        ("FLD-07", {**UPRIGHT, "parts": {"outside": {"leather": "DE-IVO"}, "pockets": GOAT}}, (), True),
        ("FLD-07", {**UPRIGHT, "parts": {"outside": {"leather": "DE-IVO"}, "pockets": GOAT}}, (
            ("kinds.yaml", "stretch_percent: 35", "stretch_percent: 25"),), False),
        ("FLD-07", {**UPRIGHT, "parts": {"outside": {"leather": "DE-IVO"}, "pockets": GOAT}}, (
            ("kinds.yaml", "stretch_percent: 35", "stretch_percent: 25.5"),), True),
        ("FLD-07", {**UPRIGHT, "parts": {"outside": {"leather": "DE-IVO"}, "pockets": GOAT}}, (
            ("patterns.yaml", "across_spine: true", "across_spine: false"),
            ("patterns.yaml", "across_spine: true", "across_spine: false")), False),
        ("FLD-07", UPRIGHT, (), False),
        ("SID-03", {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "SH-GAR", "side": "flesh"}},
                    "modifications": ["measure_mark"]}, (), False),
        ("SID-03", {**WALLET, "parts": {**WALLET["parts"], "outside": {"leather": "SH-GAR", "side": "flesh"}},
                    "modifications": ["measure_mark"]}, (("patterns.yaml", "stamp_lands: clear", "stamp_lands: seam"),),
         True),
        ("SID-03", WALLET, (("patterns.yaml", "stamp_lands: clear", "stamp_lands: seam"),), False),
        ("SID-06", WALLET, (), True),
        ("SID-06", {**WALLET, "lots": {"inside": ["L129"], "pockets": ["L129"]}}, (), False),
        ("SID-06", WALLET, (("patterns.yaml", "^  faces: .*\n", ""),), False),
        ("EDG-07", {**UPRIGHT, "edge": "ED-PNT-GAR"}, (), True),
        ("EDG-07", {**UPRIGHT, "edge": "ED-PNT-GAR"}, (("edges.yaml", "2024-12-10", days_ago(365)),), False),
        ("EDG-07", {**UPRIGHT, "edge": "ED-PNT-GAR"}, (("edges.yaml", "2024-12-10", days_ago(366)),), True),
        ("EDG-07", {**UPRIGHT, "edge": "ED-PNT-GAR"}, (("edges.yaml", ", opened_on: 2024-12-10", ""),), False),
        ("EDG-07", UPRIGHT, (), False),
        ("HDW-07", CLIP, (), True),
        ("HDW-07", CLIP, (("hardware.yaml", "^(HW-CLIP76.*)faces_leather: true", r"\1faces_leather: false"),), False),
        ("HDW-07", CLIP, (("hardware.yaml", "^(HW-CLIP76.*), faces_leather: true", r"\1"),), False),
        ("LAW-16", WALLET, (), True),
        ("LAW-16", WALLET, (("law.yaml", "^  LR-34: .*\n", ""),), False),
    ],
)  # fmt: skip
def test_what_the_bench_looks_at_before_the_knife(
    workshop: Workshop, rule: str, spec: dict[str, Any], edits: Any, speaks: bool
) -> None:
    desk = workshop(edits)
    found = lines(desk, ordered(desk, spec))
    assert (rule in found) is speaks, sorted(found)


def test_what_the_store_measured_and_counted_counts_in_place_of_the_catalog(workshop: Workshop) -> None:
    desk = workshop((lot("L104", MEASURED, "measured_on: never, measured_damp: true, humidity_percent: 80"),
                     lot("L104", COUNTED, "counted_on: 2025-10-01")))  # fmt: skip
    order = ordered(desk, WALLET)
    assert {"THK-09", "THK-10", "STO-10"} <= set(lines(desk, order))
    body = {
        "kind": "measure",
        "area_dm2": 17.8,
        "thickness_mm": {"min": 1.2, "max": 1.4},
        "rectangles_mm": [[330, 235]],
    }
    measured = desk.post("/v1/lots/L104/entries", body)
    assert measured.status_code == 201, measured.text
    assert set(lines(desk, order)) & {"THK-09", "THK-10"} == set()
    assert lines(desk, order)["STO-10"]["measured"] == 152
    counted = desk.post("/v1/lots/L104/entries", {"kind": "count", "area_dm2": 17.8, "rectangles_mm": [[330, 235]]})
    assert counted.status_code == 201, counted.text
    assert "STO-10" not in lines(desk, order)
    desk.wait(days=91)
    again = desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"]
    old = {line["subject"]["lot"]: line["measured"] for line in again if line["rule"] == "STO-10"}
    assert old["L104"] == 91


def test_what_is_counted_after_midnight_is_counted_that_day_at_the_workshop(workshop: Workshop) -> None:
    desk = workshop((lot("L104", COUNTED, "counted_on: 2025-10-01"),))
    order = ordered(desk, WALLET)
    now = desk.house.clock.now()
    desk.wait(seconds=(now.replace(hour=23, minute=20, second=0) - now).total_seconds())
    assert desk.house.clock.now().date() == desk.house.clock.today() - timedelta(days=1), "it is past midnight here"
    counted = desk.post("/v1/lots/L104/entries", {"kind": "count", "area_dm2": 17.8, "rectangles_mm": [[330, 235]]})
    assert counted.status_code == 201, counted.text
    desk.wait(days=90)
    again = desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"]
    assert "L104" not in {line["subject"].get("lot") for line in again if line["rule"] == "STO-10"}
    desk.wait(days=1)
    again = desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"]
    assert [
        line["measured"] for line in again if line["subject"].get("lot") == "L104" and line["rule"] == "STO-10"
    ] == [91]


def test_what_was_cut_again_is_looked_at_as_it_is_now(workshop: Workshop) -> None:
    desk = workshop((lot("L104", "min: 1.2, max: 1.4", "min: 1.2, max: 1.3"),
                     lot("L131", "max: 0.6", "max: 0.55"), lot("L132", "max: 0.6", "max: 0.55")))  # fmt: skip
    order = ordered(desk, {**WALLET, "parts": {**WALLET["parts"], "inside": {"leather": "PG-SAN"}}})
    path = f"/v1/orders/{order}"
    assert desk.entry(path, "cut", item=1, part="outside", lot="L104").status_code == 201
    assert "STK-06" not in lines(desk, order), "1.3 mm on 0.55 mm"
    spoilt = desk.entry(path, "recut", item=1, part="outside", lot="L105", reason="a scratch")
    assert spoilt.status_code == 201, spoilt.text
    assert lines(desk, order)["STK-06"]["measured"] == 0.85, "1.4 mm, thinned from 1.7 mm, on 0.55 mm"


# Before the parcel.


@pytest.mark.parametrize(
    ("rule", "spec", "edits", "speaks"),
    [
        ("LOD-05", LEAD, (), True),
        ("LOD-05", WALLET, (), False),
        ("LAW-10", WALLET, (), True),
        ("LAW-10", WALLET, (("law.yaml", "^  LR-32: .*\n", ""),), False),
        ("LAW-05", WALLET, (), False),
        ("LAW-05", WALLET, (("workshop.yaml", "parcel_sachet: tested", "parcel_sachet: untested"),), True),
        ("LAW-05", WALLET, (("workshop.yaml", "^parcel_sachet: tested.*\n", ""),), False),
    ],
)
def test_what_is_looked_at_before_a_piece_leaves(
    workshop: Workshop, rule: str, spec: dict[str, Any], edits: Any, speaks: bool
) -> None:
    desk = workshop(edits)
    assert (rule in lines(desk, ordered(desk, spec), "pack")) is speaks


@pytest.mark.parametrize(("quantity", "serial"), [(1, "{}-1"), (2, "{0}-1.1, {0}-1.2"), (3, "{0}-1.1 to {0}-1.3")])
def test_every_piece_has_a_number_of_its_own(small: Desk, quantity: int, serial: str) -> None:
    order = ordered(small, {**UPRIGHT, "quantity": quantity})
    line = lines(small, order, "pack")["LAW-10"]
    assert line["bench_message"].startswith(f"{serial.format(order)}: ")
    assert line["params"]["pieces"] == quantity


@pytest.mark.parametrize(("grams", "speaks"), [(180, False), (180.001, True)])
def test_a_wallet_is_weighed_when_it_is_done(small: Desk, grams: float, speaks: bool) -> None:
    order = ordered(small, WALLET)
    assert "STK-09" not in lines(small, order, "pack"), "by its panels it comes to less"
    body = {"kind": "inspect", "item": 1, "measured": {"weight_g": grams}}
    assert small.post(f"/v1/orders/{order}/entries", body).status_code == 201
    assert ("STK-09" in lines(small, order, "pack")) is speaks


def test_what_bears_a_load_is_not_weighed(small: Desk) -> None:
    order = ordered(small, LEAD)
    body = {"kind": "inspect", "item": 1, "measured": {"weight_g": 400}}
    assert small.post(f"/v1/orders/{order}/entries", body).status_code == 201
    assert "STK-09" not in lines(small, order, "pack")


# The checklist as an answer.


def test_a_checklist_stands_in_order_and_names_item_limit_and_source(workshop: Workshop) -> None:
    desk = workshop((lot("L104", MEASURED, "measured_on: never"),))
    order = ordered(desk, WALLET, UPRIGHT)
    answer = desk.get(f"/v1/orders/{order}/checklists/cut", "staff").json()
    assert (answer["order"], answer["stage"], answer["as_of"]) == (order, "cut", TODAY.isoformat())
    ranks = ["refuse", "sign_off", "advise", "notice"]
    places = [ranks.index(line["severity"]) for line in answer["lines"]]
    assert places == sorted(places)
    assert {line["item"] for line in answer["lines"]} == {1, 2}
    for line in answer["lines"]:
        assert line["says"]
        assert len(line["source"]) > 5
    names = [(line["item"], line["id"]) for line in answer["lines"]]
    assert len(set(names)) == len(names)


def test_a_checklist_is_the_workshops(small: Desk) -> None:
    order = ordered(small, WALLET)
    path = f"/v1/orders/{order}/checklists/cut"
    assert small.get(path, "server").status_code == 403
    assert small.get(path, "staff").status_code == 200
    assert small.get(f"/v1/orders/{order}/checklists/polish").status_code == 422
    assert small.get("/v1/orders/O999/checklists/cut").status_code == 404


def test_a_checklist_prints_as_a_page_on_which_no_text_is_markup(workshop: Workshop) -> None:
    desk = workshop((("leathers.yaml", "name: Garnet shell", 'name: "Garnet <b>shell</b>"'),
                     lot("L104", MEASURED, "measured_on: never")))  # fmt: skip
    order = ordered(desk, WALLET)
    headers = {"authorization": f"Bearer {desk.tokens['staff']}", "accept": "text/html,application/xhtml+xml"}
    answer = desk._client.get(f"/v1/orders/{order}/checklists/cut", headers=headers)
    assert answer.headers["content-type"].startswith("text/html")
    style = answer.text.split("<style>")[1].split("</style>")[0]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in answer.headers["content-security-policy"]
    assert answer.text.count("&#9744;") == answer.text.count('class="box"')
    assert answer.text.count('class="box"') == len(desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"])
    assert "THK-09" in answer.text
    assert "<b>shell" not in answer.text


def cut_part(desk: Desk, order: str, part: str) -> None:
    for item in desk.get(f"/v1/orders/{order}").json()["items"]:
        for code in sorted({each["lot"] for each in item["to_cut"] if each["part"] == part}):
            made = desk.entry(f"/v1/orders/{order}", "cut", item=item["item"], part=part, lot=code)
            assert made.status_code == 201, made.text


def test_before_the_knife_only_what_is_still_to_be_cut_is_looked_at(workshop: Workshop) -> None:
    desk = workshop((lot("L104", MEASURED, "measured_on: never"),))
    order = ordered(desk, WALLET)
    assert {"THK-09", "SID-06", "LAW-16"} <= set(lines(desk, order))
    cut_part(desk, order, "outside")
    left = desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"]
    assert "L104" not in {line["subject"].get("lot") for line in left}
    assert "LAW-16" in {line["rule"] for line in left}
    cut_part(desk, order, "inside")
    cut_part(desk, order, "pockets")
    assert desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"] == []
    assert "LAW-10" in lines(desk, order, "pack")
    assert desk.entry(f"/v1/orders/{order}", "ship").status_code == 201
    assert desk.get(f"/v1/orders/{order}/checklists/pack").json()["lines"] == []


def test_a_checklist_of_an_order_that_is_over_has_no_lines_and_stays_readable(small: Desk) -> None:
    order = ordered(small, lettered(WALLET, "AB", "Z-IN-LOW"))
    path = f"/v1/orders/{order}"
    assert lines(small, order)
    small.entry(path, "cancel")
    assert small.post(f"{path}/entries", {"kind": "forget"}).status_code == 201
    for stage in ("cut", "pack"):
        found = small.get(f"{path}/checklists/{stage}").json()
        assert (found["state"], found["lines"]) == ("cancelled", [])
        assert date.fromisoformat(found["as_of"]) == TODAY
