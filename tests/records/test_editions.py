"""Editions: what other files change, putting them in force, going back; all or nothing."""

from __future__ import annotations

from typing import Any

import pytest
from support.desk import STRAP, WALLET, Desk

SLEEVE: dict[str, Any] = {
    "pattern": "sleeve",
    "parts": {"outside": {"leather": "SH-CHE"}},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "hardware": {"closure": "HW-SNAP20-BR"},
    "carry": {"cards": 6, "notes": [{"item": "USD", "count": 2}]},
}


def tighter(files: dict[str, str]) -> dict[str, str]:
    """Return the files with the bottom fold of the sleeve tighter: inner radius 1.0 to 0.8 mm."""
    lines = files["patterns.yaml"].splitlines(keepends=True)
    start = next(at for at, line in enumerate(lines) if line.startswith("sleeve:"))
    place = next(at for at in range(start, len(lines)) if "inner_radius_mm: 1.0" in lines[at])
    lines[place] = lines[place].replace("inner_radius_mm: 1.0", "inner_radius_mm: 0.8")
    return {"patterns.yaml": "".join(lines)}


def dearer(files: dict[str, str]) -> dict[str, str]:
    """Return the files with a wallet of shell cordovan dearer."""
    assert files["price-list.yaml"].count("E: 435") == 1
    return {"price-list.yaml": files["price-list.yaml"].replace("E: 435", "E: 455")}


def put(desk: Desk, files: dict[str, str | None], **fields: Any) -> Any:
    draft = desk.post("/v1/edition-drafts", {"files": files})
    assert draft.status_code == 200, draft.text
    return desk.post("/v1/editions", {"files": files, **fields}, version=draft.headers["etag"])


def test_a_draft_names_the_open_order_that_a_tighter_fold_brings_to_be_agreed(
    desk: Desk, oddlestone_files: dict[str, str]
) -> None:
    order = desk.order(desk.quote(SLEEVE).json()["id"]).json()["id"]
    other = desk.quote(WALLET).json()["id"]
    draft = desk.post("/v1/edition-drafts", {"files": tighter(oddlestone_files)}).json()
    affected = draft["affected"]
    assert (draft["in_the_way"], affected["compared"]) == ([], {"order": 1, "quote": 1})
    [moved] = affected["outcomes"]
    assert (moved["old"], moved["new"], moved["count"]) == ("buildable", "sign_off", 1)
    [rule] = affected["rules"]
    [case] = rule["newly_falls"]["cases"]
    assert (rule["rule"], case["ref"], case["item"]) == ("FLD-01", order, 1)
    assert (case["measured"], case["limit"]) == (0.484, 0.45)  # 1.5 of 3.1 mm, 1.08 times what shell takes
    assert other not in str(affected["rules"])


def test_files_put_in_force_answer_from_the_next_request_on(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    before = desk.post("/v1/checks", SLEEVE).json()
    made = put(desk, tighter(oddlestone_files), note="tighter")
    assert made.status_code == 201, made.text
    assert (made.json()["number"], made.json()["note"], made.json()["in_force"]) == (2, "tighter", True)
    after = desk.post("/v1/checks", SLEEVE).json()
    assert (before["outcome"], before["revisions"]["edition"]) == ("buildable", 1)
    assert (after["outcome"], after["revisions"]["edition"]) == ("sign_off", 2)
    listed = desk.get("/v1/editions").json()
    assert [(each["number"], each["in_force"]) for each in listed["items"]] == [(2, True), (1, False)]
    assert listed["folder"]["differs"]


def test_going_back_puts_an_earlier_edition_in_force_as_a_new_one(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    put(desk, dearer(oddlestone_files))
    assert desk.post("/v1/checks", WALLET).json()["price"]["total"] == "475.00"
    draft = desk.post("/v1/edition-drafts", {"edition": 1})
    made = desk.post("/v1/editions", {"edition": 1}, version=draft.headers["etag"])
    assert (made.status_code, made.json()["number"]) == (201, 3)
    assert desk.post("/v1/checks", WALLET).json()["price"]["total"] == "455.00"
    first, third = (desk.get(f"/v1/editions/{number}").json() for number in (1, 3))
    assert first["files"] == third["files"] == oddlestone_files
    assert not desk.get("/v1/editions").json()["folder"]["differs"]


def test_published_documents_and_templates_follow_the_edition(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    paths = ["/v1/price-list", "/v1/patterns/sleeve", "/v1/catalog", "/v1/rules/FLD-01", "/v1/wishlist-template.csv"]
    before = {path: desk.get(path) for path in paths}
    put(desk, {**dearer(oddlestone_files), **tighter(oddlestone_files)})
    after = {path: desk.get(path) for path in paths}
    changed = [path for path in paths if before[path].headers.get("etag") != after[path].headers.get("etag")]
    assert changed[:3] == ["/v1/price-list", "/v1/patterns/sleeve", "/v1/catalog"]
    assert '"E":"455.00"' in after["/v1/price-list"].text


def test_nothing_is_put_in_force_that_was_not_shown(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    body = {"files": dearer(oddlestone_files)}
    shown = desk.post("/v1/edition-drafts", body).headers["etag"]
    assert desk.post("/v1/editions", body).status_code == 428
    other = {"files": tighter(oddlestone_files)}
    assert desk.post("/v1/editions", other, version=shown).status_code == 412
    assert put(desk, tighter(oddlestone_files)).status_code == 201
    stale = desk.post("/v1/editions", body, version=shown)
    assert (stale.status_code, stale.json()["type"]) == (412, "/problems/changed-meanwhile")
    assert [each["number"] for each in desk.get("/v1/editions").json()["items"]] == [2, 1]


def test_a_retry_puts_in_force_once(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    body = {"files": dearer(oddlestone_files)}
    shown = desk.post("/v1/edition-drafts", body).headers["etag"]
    answers = [desk.post("/v1/editions", body, key="once", version=shown) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 201]
    assert answers[0].content == answers[1].content
    assert len(desk.get("/v1/editions").json()["items"]) == 2


@pytest.mark.parametrize("path", ["/v1/edition-drafts", "/v1/editions", "/v1/rule-comparisons"])
def test_a_bad_file_is_refused_with_file_line_and_column_and_the_old_stays(
    desk: Desk, oddlestone_files: dict[str, str], path: str
) -> None:
    labor = oddlestone_files["labor.yaml"].splitlines()
    labor[3:3] = ["  no_such_field: 1"]
    bad = {"files": {"labor.yaml": "\n".join(labor), "law.yaml": "- [", "kinds.yaml": None}}
    answer = desk.post(path, bad, version='"1-x"')
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/files-unreadable")
    places = {(fault["file"], fault["line"]) for fault in answer.json()["faults"]}
    assert {("labor.yaml", 4), ("kinds.yaml", 1)} <= places
    assert any(file == "law.yaml" for file, _ in places)
    assert all(fault["column"] >= 1 and fault["message"] for fault in answer.json()["faults"])
    assert [each["number"] for each in desk.get("/v1/editions").json()["items"]] == [1]
    assert desk.post("/v1/checks", WALLET).json()["revisions"]["edition"] == 1


def test_a_body_says_one_thing(desk: Desk) -> None:
    for body in ({}, {"files": {}, "edition": 1}, {"folder": True, "edition": 1}, {"edition": 7}):
        answer = desk.post("/v1/edition-drafts", body)
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/contradiction"), body


def test_what_the_store_keeps_is_named_where_the_files_say_otherwise(
    desk: Desk, oddlestone_files: dict[str, str]
) -> None:
    threads = oddlestone_files["threads.yaml"].replace("left_m: 130, break_n: 70", "left_m: 99, break_n: 70")
    assert threads != oddlestone_files["threads.yaml"]
    lots = "\n".join(line for line in oddlestone_files["lots.yaml"].splitlines() if not line.startswith("L107:"))
    assert desk.entry("/v1/lots/L107", "scrap", reason="mold").status_code == 201
    body = {"files": {"threads.yaml": threads, "lots.yaml": lots + "\n"}}
    notes = desk.post("/v1/edition-drafts", body).json()["notes"]
    assert any("TH-P05-TAN" in note for note in notes)
    assert not any("L107" in note for note in notes), "it is scrapped already"


def test_line_ends_of_another_system_make_no_other_edition(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    files = {"labor.yaml": oddlestone_files["labor.yaml"].replace("\n", "\r\n")}
    assert "the files are those that are in force" in desk.post("/v1/edition-drafts", {"files": files}).json()["notes"]


def test_what_is_in_use_cannot_be_left_out(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    desk.order(desk.quote(SLEEVE).json()["id"])
    short = {name: text.replace("TH-P05-TAN", "TH-P05-TAX") for name, text in oddlestone_files.items()}
    files = {name: text for name, text in short.items() if text != oddlestone_files[name]}
    draft = desk.post("/v1/edition-drafts", {"files": files})
    assert draft.status_code == 200, draft.text
    assert {(each["noun"], each["code"]) for each in draft.json()["in_the_way"]} == {
        ("thread", "TH-P05-TAN"),
        ("supply", "TH-P05-TAN"),
    }
    refused = desk.post("/v1/editions", {"files": files}, version=draft.headers["etag"])
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/still-in-use")
    assert refused.json()["in_the_way"] == draft.json()["in_the_way"]
    assert [each["number"] for each in desk.get("/v1/editions").json()["items"]] == [1]


def test_a_lot_that_the_files_gained_comes_into_stock_and_figures_of_the_store_stay(
    desk: Desk, oddlestone_files: dict[str, str]
) -> None:
    count = {"kind": "count", "area_dm2": 5.0, "rectangles_mm": [[200, 200]]}
    assert desk.post("/v1/lots/L104/entries", count).status_code == 201
    lots = oddlestone_files["lots.yaml"]
    entry = next(line for line in lots.splitlines() if line.startswith("L104:"))
    files: dict[str, str | None] = {"lots.yaml": f"{lots.rstrip()}\n{entry.replace('L104', 'L904')}\n"}
    made = put(desk, files)
    assert (made.status_code, made.json()["lots_received"]) == (201, ["L904"])
    assert desk.lot("L904")["entries"][0]["kind"] == "receive"
    assert desk.lot("L104")["left_dm2"] == 5.0


def test_an_open_quote_keeps_its_price_and_is_ordered_at_it(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    quote = desk.quote(WALLET).json()
    assert put(desk, dearer(oddlestone_files)).status_code == 201
    order = desk.order(quote["id"])
    assert (quote["total"], order.status_code, order.json()["total"]) == ("455.00", 201, "455.00")
    assert desk.quote(WALLET).json()["total"] == "475.00"


def test_a_sign_off_is_void_where_the_edition_in_force_limits_its_rule_otherwise(
    desk: Desk, oddlestone_files: dict[str, str]
) -> None:
    face = next(iter(desk.house.shop.catalog.typefaces.values()))
    monogram = {"text": "LEARNT", "method": face.methods[0], "typeface": face.code}
    zone = next(iter(desk.house.shop.catalog.patterns["twofold"].zones))
    spec = {**WALLET, "monogram": {**monogram, "zone": zone}}
    quote = desk.quote(spec).json()
    asked = {sign["rule"] for item in quote["items"] for sign in item["sign_offs"]}
    assert "MON-09" in asked
    desk.agree(quote["id"], decision="given", scope="this_lot")
    thresholds = oddlestone_files["thresholds.yaml"]
    line = next(line for line in thresholds.splitlines() if line.startswith("letters_sign_off_over"))
    moved = thresholds.replace(line, line.replace("value: 4", "value: 3"))
    assert moved != thresholds
    assert put(desk, {"thresholds.yaml": moved}).status_code == 201
    refused = desk.order(quote["id"])
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/sign-off-missing")
    assert len(refused.json()["sign_offs"]) == 1
    desk.agree(quote["id"], decision="given", scope="this_lot")
    assert desk.order(quote["id"]).status_code == 201


def test_what_is_set_aside_must_still_lie_by_the_new_figures(desk: Desk, oddlestone_files: dict[str, str]) -> None:
    quote = desk.quote(STRAP).json()["id"]  # takes the last remnant whole
    thresholds = oddlestone_files["thresholds.yaml"]
    line = next(line for line in thresholds.splitlines() if line.startswith("nest_gap_mm"))
    wider = {"thresholds.yaml": thresholds.replace(line, line.replace("value: 3", "value: 60"))}
    draft = desk.post("/v1/edition-drafts", {"files": wider}).json()
    assert ("lot", "L103", [f"quote {quote}"]) in [
        (each["noun"], each["code"], each["used_by"]) for each in draft["in_the_way"]
    ]
    refused = put(desk, wider)
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/still-in-use")
    assert desk.state(quote) == "held"


@pytest.mark.parametrize("who", ["page", "server", "staff"])
def test_editions_are_the_owners(desk: Desk, who: str) -> None:
    assert desk.get("/v1/editions", who).status_code == 403
    assert desk.post("/v1/edition-drafts", {"folder": True}, who).status_code == 403
    assert desk.post("/v1/editions", {"folder": True}, who).status_code == 403
