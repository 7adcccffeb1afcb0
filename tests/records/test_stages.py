"""Rules after a check: a quote with its findings, the checklists of an order, each rule at its limit and one step past.

Everything goes the way that a caller goes: a quote is made, agreed to and ordered over HTTP, its checklists read.
What the catalog says of a lot or a bottle is changed in a copy of the demo workshop's files.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import date, timedelta
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from support.desk import TODAY, WALLET, Desk, a_desk

from api.settings import DEMO_CATALOG

Workshop = Callable[..., Desk]
GOAT = {"leather": "GO-BLK"}
LEAD: dict[str, Any] = {
    "pattern": "lead", "parts": {"outside": {"leather": "HA-RUS"}}, "thread": "TH-P08-NAT", "edge": "ED-BURN",
    "hardware": {"hook": "HW-HOOK25-SS"}, "sizes": {"width_mm": 25, "length_mm": 1200},
    "purpose": {"use": "dog_lead", "dog_kg": 20},
}  # fmt: skip
FOB: dict[str, Any] = {
    "pattern": "fob", "parts": {"outside": {"leather": "BI-TAN"}}, "thread": "TH-P05-TAN", "edge": "ED-RAW",
    "hardware": {"ring": "HW-RING30-SS"},
}  # fmt: skip
UPRIGHT: dict[str, Any] = {
    "pattern": "upright", "parts": {"outside": {"leather": "VS-COG"}, "pockets": GOAT}, "thread": "TH-P05-TAN",
    "edge": "ED-PNT-BLK",
}  # fmt: skip
CLIP: dict[str, Any] = {
    "pattern": "clipfold", "parts": {"outside": {"leather": "CC-NAV"}, "inside": GOAT, "pockets": GOAT},
    "thread": "TH-P05-NAV", "edge": "ED-PNT-NAV", "hardware": {"clip": "HW-CLIP76"},
}  # fmt: skip
STRAP: dict[str, Any] = {
    "pattern": "wstrap", "parts": {"outside": {"leather": "CC-NAV"}, "lining": GOAT}, "thread": "TH-P05-BLK",
    "edge": "ED-PNT-NAV", "hardware": {"buckle": "HW-BKL16-SS"}, "sizes": {"lug_mm": 18, "taper_mm": 2},
}  # fmt: skip


def lettered(spec: dict[str, Any], text: str, zone: str) -> dict[str, Any]:
    return {**spec, "monogram": {"text": text, "method": "blind", "typeface": "FA-SER14", "zone": zone}}


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    """Open workshops: the demo's files with single texts replaced, by file."""
    with ExitStack() as stack:

        def open_one(edits: tuple[tuple[str, str, str], ...] = ()) -> Desk:
            folder = tmp_path / f"catalog-{len(list(tmp_path.iterdir()))}"
            copytree(DEMO_CATALOG, folder)
            for file, old, new in edits:
                text = (folder / file).read_text(encoding="utf-8")
                changed, count = re.subn(old, new, text, count=1, flags=re.MULTILINE)
                assert count == 1, (file, old)
                (folder / file).write_text(changed, encoding="utf-8")
            return stack.enter_context(a_desk(f"sqlite:///{folder}.sqlite3", folder))

        yield open_one


def lot(code: str, old: str, new: str) -> tuple[str, str, str]:
    """Replace a field of a lot's row."""
    return "lots.yaml", rf"^({code}: .*){old}", rf"\g<1>{new}"


def ordered(desk: Desk, *specs: dict[str, Any]) -> str:
    quote = desk.quote(*specs)
    assert quote.status_code == 201, quote.text
    desk.agree(quote.json()["id"])
    order = desk.order(quote.json()["id"])
    assert order.status_code == 201, order.text
    found: str = order.json()["id"]
    return found


def lines(desk: Desk, order: str, stage: str = "cut", who: str = "staff") -> dict[str, dict[str, Any]]:
    """The lines of a checklist by rule; the first of each."""
    answer = desk.get(f"/v1/orders/{order}/checklists/{stage}", who)
    assert answer.status_code == 200, answer.text
    found: dict[str, dict[str, Any]] = {}
    for line in answer.json()["lines"]:
        found.setdefault(line["rule"], line)
    return found


def said(quote: Any) -> dict[str, dict[str, Any]]:
    return {finding["rule"]: finding for finding in quote.json()["findings"]}


# The note.


def test_a_note_is_a_notice_at_a_check_and_asks_for_an_agreement_once_it_is_quoted(small: Desk) -> None:
    spec = {**WALLET, "note": "The notch is for my left thumb."}
    check = small.post("/v1/checks", spec).json()
    assert check["outcome"] == "buildable"
    assert [each["severity"] for each in check["findings"] if each["rule"] == "CAT-10"] == ["notice"]
    quote = small.quote(spec)
    assert quote.json()["state"] == "awaiting_sign_off"
    asked = quote.json()["items"][0]["sign_offs"]
    assert [(sign["finding"], sign["rule"], sign["state"]) for sign in asked] == [("CAT-10", "CAT-10", "asked")]
    assert said(quote)["CAT-10"]["severity"] == "sign_off"
    number = quote.json()["id"]
    refused = small.order(number)
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/sign-off-missing")
    body = {"quote": number, "item": 1, "finding": "CAT-10", "note": "read; agreed with the customer"}
    assert small.post("/v1/sign-offs", body).status_code == 201
    assert small.state(number) == "held"
    assert small.order(number).status_code == 201


def test_without_a_note_nobody_has_to_read_one(small: Desk) -> None:
    quote = small.quote(WALLET)
    assert quote.json()["state"] == "held"
    assert "CAT-10" not in said(quote)
    assert small.order(quote.json()["id"]).status_code == 201


def test_an_agreement_to_one_note_is_none_to_another(small: Desk) -> None:
    first = small.quote({**WALLET, "note": "one"}).json()["id"]
    small.agree(first, scope="until", until="2026-12-31")
    assert small.state(first) == "held"
    assert small.quote({**WALLET, "note": "one"}).json()["state"] == "held"
    assert small.quote({**WALLET, "note": "two"}).json()["state"] == "awaiting_sign_off"


def test_a_refused_note_keeps_the_quote_waiting_and_renewing_keeps_the_agreement(small: Desk) -> None:
    number = small.quote({**WALLET, "note": "soon, please"}).json()["id"]
    body = {"quote": number, "item": 1, "finding": "CAT-10"}
    assert small.post("/v1/sign-offs", {**body, "decision": "refused"}).status_code == 201
    assert small.order(number).status_code == 409
    assert small.post("/v1/sign-offs", body).status_code == 201
    small.wait(minutes=31)
    assert small.entry(f"/v1/quotes/{number}", "renew").status_code == 201
    assert small.state(number) == "held"
    assert small.order(number).status_code == 201


# What a quote says.


def test_a_quote_says_until_when_it_is_set_aside_and_an_order_until_it_is_cut(small: Desk) -> None:
    quote = small.quote(WALLET)
    until = said(quote)["STO-08"]
    assert until["severity"] == "notice"
    assert re.fullmatch(r"Set aside for you until 2026-03-02 \d\d:\d\d CET\.", until["message"])
    small.order(quote.json()["id"])
    assert "until it is cut" in said(small.get(f"/v1/quotes/{quote.json()['id']}"))["STO-08"]["message"]
    withdrawn = small.quote(WALLET).json()["id"]
    small.entry(f"/v1/quotes/{withdrawn}", "withdraw")
    assert "STO-08" not in said(small.get(f"/v1/quotes/{withdrawn}"))


def test_letters_are_read_back_with_a_dot_for_each_space_and_are_gone_once_forgotten(small: Desk) -> None:
    quote = small.quote(lettered(WALLET, "A. B", "Z-IN-LOW"))
    assert "A.·B" in said(quote)["MON-11"]["message"]
    assert "MON-11" not in said(small.quote(WALLET))
    path = f"/v1/quotes/{quote.json()['id']}"
    small.entry(path, "withdraw")
    assert small.post(f"{path}/entries", {"kind": "forget"}).status_code == 201
    left = small.get(path)
    assert "MON-11" not in said(left)
    assert "A.·B" not in left.text


def test_colors_are_guides_and_deposit_and_discount_are_named(workshop: Workshop) -> None:
    desk = workshop()
    wallet, fob = said(desk.quote(WALLET)), said(desk.quote({**UPRIGHT, "quantity": 5}))
    assert "Garnet shell" in wallet["COL-04"]["message"]
    assert "227.50 EUR" in wallet["PRC-05"]["message"]
    assert "PRC-07" not in wallet
    assert fob["PRC-07"]["message"].startswith("5 pieces: ")
    assert "PRC-07" not in said(desk.quote({**UPRIGHT, "quantity": 4}))
    assert "PRC-05" not in said(desk.quote(FOB)), "below the amount from which a deposit is asked"


def test_a_price_is_old_the_day_after_its_last_day_and_not_before(small: Desk) -> None:
    quote = small.quote(WALLET, hold="quote")
    path = f"/v1/quotes/{quote.json()['id']}"
    small.wait(days=21)
    assert "PRC-06" not in said(small.get(path))
    small.wait(days=1)
    old = said(small.get(path))["PRC-06"]
    assert (old["measured"], old["limit"], old["unit"], old["item"]) == (22, 21, "days", None)
    assert small.entry(path, "renew").status_code == 201
    renewed = small.get(path)
    assert renewed.json()["state"] == "held", "an old price is renewed, not agreed to"
    assert "PRC-06" not in said(renewed)


def test_a_price_that_moved_is_refused_in_the_name_of_its_rule(workshop: Workshop) -> None:
    desk = workshop()
    quote = desk.quote(WALLET, hold="quote").json()["id"]
    desk.wait(days=22)
    with desk.house.store.write() as write:
        write.connection.exec_driver_sql("UPDATE quote SET total_minor = total_minor - 100")
    refused = desk.entry(f"/v1/quotes/{quote}", "renew")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/price-changed")
    assert "PRC-06" in refused.json()["rules"]
    assert "STO-09" not in refused.json()["rules"]


def test_a_hide_that_is_lost_is_refused_in_the_name_of_its_rule(small: Desk) -> None:
    quote = small.quote(WALLET)
    assert "STO-09" not in said(quote)
    number = quote.json()["id"]
    for code in ("L104", "L105"):
        assert small.post(f"/v1/lots/{code}/entries", {"kind": "scrap", "reason": "mold"}).status_code == 201
    short = small.get(f"/v1/quotes/{number}")
    assert short.json()["state"] == "short"
    assert said(short)["STO-09"]["severity"] == "refuse"
    for refused in (small.order(number), small.entry(f"/v1/quotes/{number}", "renew")):
        assert (refused.status_code, refused.json()["type"]) == (409, "/problems/stock-changed")
        assert refused.json()["rules"] == ["STO-09"]


@pytest.mark.parametrize(
    ("rule", "spec", "edits", "speaks"),
    [
        ("STI-06", {**WALLET, "thread": "TH-L05-NAT"}, (), True),
        ("STI-06", WALLET, (), False),
        ("STI-06", WALLET, (("threads.yaml", "^(TH-P05-GAR.*)supply: ongoing", r"\1supply: last_spool"),), True),
        ("STI-06", WALLET, (("threads.yaml", "^(TH-P05-GAR.*), supply: ongoing", r"\1"),), False),
        ("LAW-14", FOB, (), True),
        ("LAW-14", FOB, (lot("L134", "forest_statement_asked: true", "forest_statement: FS-1"),), False),
        ("LAW-14", FOB, (lot("L134", "asked: true", "asked: true, forest_statement: FS-1"),), False),
        ("LAW-14", FOB, (lot("L134", "forest_statement_asked: true", "measured_damp: false"),), False),
        ("LAW-14", WALLET, (lot("L104", "grade: A", "grade: A, forest_statement_asked: true"),), False),
        ("LAW-04", STRAP, (), True),
        ("LAW-04", STRAP, (("kinds.yaml", "reports: missing", "reports: on_file"),), False),
        ("LAW-04", STRAP, (("kinds.yaml", "^  reports: missing\n", ""),), False),
        ("LAW-04", CLIP, (), False),
        ("LAW-04", {**CLIP, "hardware": {}, "pattern": "upright", "edge": "ED-PNT-NAV",
                    "parts": {"outside": {"leather": "CC-NAV"}, "pockets": GOAT},
                    "purpose": {"child_under_3": True}}, (), True),
        ("MON-14", lettered(UPRIGHT, "A.B.", "Z-IN-LOW"), (), True),
        ("MON-14", lettered(UPRIGHT, "AM", "Z-IN-LOW"), (), True),
        ("MON-14", lettered(UPRIGHT, "AMA", "Z-IN-LOW"), (), False),
        ("MON-14", lettered(UPRIGHT, "A.B.", "Z-OUT-COR"), (), False),
    ],
)  # fmt: skip
def test_what_the_maker_is_asked_when_a_quote_is_made(
    workshop: Workshop, rule: str, spec: dict[str, Any], edits: Any, speaks: bool
) -> None:
    quote = workshop(edits).quote(spec)
    assert quote.status_code == 201, quote.text
    asked = {sign["rule"] for sign in quote.json()["items"][0]["sign_offs"]}
    assert (rule in said(quote), rule in asked) == (speaks, speaks)
    if speaks:
        assert quote.json()["state"] == "awaiting_sign_off"


# Before the knife.


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
    assert answer.text.count('class="box"') == len(desk.get(f"/v1/orders/{order}/checklists/cut").json()["lines"])
    assert "THK-09" in answer.text
    assert "<b>shell" not in answer.text


def test_a_storefront_sees_no_lot_and_no_bench_word_in_a_quotes_findings(small: Desk) -> None:
    quote = small.quote(FOB, who="server")
    assert quote.status_code == 201, quote.text
    shown = said(quote)["LAW-14"]
    assert "bench_message" not in shown
    assert shown["subject"] == {}
    assert "L134" not in quote.text
    number = quote.json()["id"]
    assert said(small.get(f"/v1/quotes/{number}", "staff"))["LAW-14"]["subject"] == {"lot": "L134"}


def test_a_checklist_of_a_forgotten_order_still_stands(small: Desk) -> None:
    order = ordered(small, lettered(WALLET, "AB", "Z-IN-LOW"))
    path = f"/v1/orders/{order}"
    small.entry(path, "cancel")
    assert small.post(f"{path}/entries", {"kind": "forget"}).status_code == 201
    assert "LAW-16" in lines(small, order)
    assert date.fromisoformat(small.get(f"{path}/checklists/pack").json()["as_of"]) == TODAY


def test_a_quote_of_a_time_when_specs_were_written_otherwise_stays_readable(small: Desk) -> None:
    quote = small.quote({**WALLET, "note": "soon"}, UPRIGHT).json()["id"]
    with small.house.store.write() as write:
        write.connection.exec_driver_sql(
            """UPDATE item SET spec = '{"pattern": "twofold", "lining_color": 7}' WHERE item = 1"""
        )
    left = small.get(f"/v1/quotes/{quote}")
    assert left.status_code == 200
    assert {finding["item"] for finding in left.json()["findings"]} == {None, 2}
