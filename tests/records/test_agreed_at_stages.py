"""What the maker agreed to in the name of a stage, after files, stock or the order became others."""

from __future__ import annotations

from typing import Any

from support.desk import WALLET, Desk
from support.jobs import CLIP, FOB, GOAT, Workshop, lot, ordered
from support.jobs import UPRIGHT as PLAIN

STATED = lot("L134", "forest_statement_asked: true", "forest_statement: FS-9")
ASKED = lot("L124", "grade: A", "grade: A, forest_statement_asked: true")
UPRIGHT: dict[str, Any] = {**PLAIN, "parts": {"outside": {"leather": "VS-NAT"}, "pockets": GOAT}}
TWO_HIDES: dict[str, Any] = {
    **CLIP, "parts": {"outside": {"leather": "BI-TAN"}, "inside": GOAT, "pockets": {"leather": "VS-COG"}}
}  # fmt: skip


def put(desk: Desk, file: str, old: str, new: str) -> None:
    """Put an edition in force that reads otherwise in one place."""
    number = next(each["number"] for each in desk.get("/v1/editions").json()["items"] if each["in_force"])
    text = desk.get(f"/v1/editions/{number}").json()["files"][file]
    assert text.count(old) == 1
    files = {file: text.replace(old, new)}
    draft = desk.post("/v1/edition-drafts", {"files": files})
    made = desk.post("/v1/editions", {"files": files}, version=draft.headers["etag"])
    assert made.status_code == 201, made.text


def signs(desk: Desk, quote: str) -> list[tuple[str, str]]:
    """The findings of a quote's first item that something was asked for, and what became of it."""
    record = desk.get(f"/v1/quotes/{quote}").json()
    return [(sign["finding"], sign["state"]) for sign in record["items"][0]["sign_offs"]]


def test_what_an_edition_brings_to_be_agreed_is_asked_before_the_order(workshop: Workshop) -> None:
    desk = workshop((STATED,))
    quote = desk.quote(FOB).json()["id"]
    assert desk.state(quote) == "held"
    put(desk, "lots.yaml", "forest_statement: FS-9", "forest_statement_asked: true")
    refused = desk.order(quote)
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/sign-off-missing")
    assert len(refused.json()["sign_offs"]) == 1
    assert (desk.state(quote), signs(desk, quote)) == ("awaiting_sign_off", [("LAW-14", "asked")])
    assert desk.order(quote).json()["sign_offs"] == refused.json()["sign_offs"], "asked once"
    body = {"quote": quote, "item": 1, "finding": "LAW-14"}
    assert desk.post("/v1/sign-offs", body).status_code == 201
    assert desk.order(quote).status_code == 201


def test_a_note_that_was_quoted_before_anybody_had_to_read_it_is_read_before_the_order(small: Desk) -> None:
    quote = small.quote({**WALLET, "note": "soon"}).json()["id"]
    with small.house.store.write() as write:
        write.connection.exec_driver_sql("DELETE FROM sign_off")
        write.connection.exec_driver_sql("UPDATE quote SET state = 'held'")
    assert small.order(quote).json()["type"] == "/problems/sign-off-missing"
    small.agree(quote)
    assert small.order(quote).status_code == 201


def test_an_agreement_stands_where_another_finding_before_it_is_gone(workshop: Workshop) -> None:
    desk = workshop((ASKED,))
    quote = desk.quote(TWO_HIDES).json()["id"]
    desk.agree(quote)
    assert {name for name, _ in signs(desk, quote)} >= {"LAW-14", "LAW-14.2"}
    ids = [(each["id"], each["subject"]["lot"]) for each in findings(desk, quote) if each["rule"] == "LAW-14"]
    assert len(ids) == 2
    first = ids[0][1]
    line = next(text for text in desk.get("/v1/editions/1").json()["files"]["lots.yaml"].splitlines() if first in text)
    put(desk, "lots.yaml", line, line.replace("forest_statement_asked: true", "forest_statement: FS-9"))
    made = desk.order(quote)
    assert made.status_code == 201, made.text
    found = [sign for sign in made.json()["items"][0]["sign_offs"] if sign["rule"] == "LAW-14"]
    assert sorted((sign["finding"], sign["state"]) for sign in found) == [("LAW-14", "given"), ("LAW-14", "void")]


def test_a_question_that_an_edition_answers_keeps_no_order_waiting(workshop: Workshop) -> None:
    desk = workshop()
    quote = desk.quote(FOB).json()["id"]
    assert signs(desk, quote) == [("LAW-14", "asked")]
    put(desk, "lots.yaml", "2025-11-10, forest_statement_asked: true", "2025-11-10, forest_statement: FS-9")
    assert desk.order(quote).status_code == 201
    assert signs(desk, quote) == [("LAW-14", "void")]


def test_an_agreement_is_called_by_its_new_name_where_a_hold_moves_to_another_hide(workshop: Workshop) -> None:
    desk = workshop((ASKED,))
    quote = desk.quote(TWO_HIDES).json()["id"]
    desk.agree(quote, scope="until", until="2026-12-31")
    assert ("LAW-14.2", "given") in signs(desk, quote)
    body = {
        "code": "Y-BISON", "leather": "BI-TAN", "form": "side", "area_dm2": 70,
        "thickness_mm": {"min": 1.6, "max": 2.0}, "rectangles_mm": [[950, 480]],
    }  # fmt: skip
    assert desk.post("/v1/lots", body).status_code == 201
    moved = desk.entry("/v1/lots/L134", "scrap", reason="mold")
    assert (moved.status_code, moved.json()["short"]) == (201, [])
    assert [each["id"] for each in findings(desk, quote) if each["rule"] == "LAW-14"] == ["LAW-14"]
    assert "LAW-14.2" not in dict(signs(desk, quote))
    assert desk.order(quote).status_code == 201


def test_what_was_asked_of_a_spec_that_nobody_can_read_any_more_is_still_asked(small: Desk) -> None:
    quote = small.quote({**WALLET, "note": "soon"}).json()["id"]
    with small.house.store.write() as write:
        write.connection.exec_driver_sql("""UPDATE item SET spec = '{"pattern": "twofold", "lining_color": 7}'""")
    assert small.order(quote).json()["type"] == "/problems/sign-off-missing"
    assert signs(small, quote) == [("CAT-10", "asked")]
    small.agree(quote)
    assert small.order(quote).status_code == 201


# What a workshop agrees to as it changes an order.


def test_whoever_amends_agrees_to_what_is_said_of_the_quote_too(small: Desk) -> None:
    order = f"/v1/orders/{ordered(small, {**UPRIGHT, 'note': 'one'}, WALLET)}"
    changed = {**CLIP, "parts": {"outside": {"leather": "BI-TAN"}, "inside": GOAT, "pockets": GOAT}, "note": "another"}
    amended = small.entry(order, "amend", items=[{"item": 1, "spec": changed}])
    assert amended.status_code == 201, amended.text
    [entry] = [each for each in small.get(order).json()["entries"] if each["kind"] == "amend"]
    assert sorted(entry["items"][0]["agreed"]) == ["CAT-10", "LAW-14", "THK-03"]
    notes = [sign["state"] for sign in small.get(order).json()["items"][0]["sign_offs"] if sign["rule"] == "CAT-10"]
    assert notes == ["void"], "nobody agreed to the new note by reading the old one"


def test_an_agreement_to_a_note_stands_where_the_note_does(small: Desk) -> None:
    order = f"/v1/orders/{ordered(small, {**UPRIGHT, 'note': 'one'}, {**WALLET, 'note': 'two'})}"
    changed = {**UPRIGHT, "parts": {"outside": {"leather": "VS-COG"}, "pockets": GOAT}, "note": "one"}
    assert small.entry(order, "amend", items=[{"item": 1, "spec": changed}]).status_code == 201
    for item in small.get(order).json()["items"]:
        assert [(sign["rule"], sign["state"]) for sign in item["sign_offs"]] == [("CAT-10", "given")]


def test_whoever_pins_another_hide_agrees_to_what_is_said_of_it(workshop: Workshop) -> None:
    desk = workshop((lot("L125", "grade: B", "grade: B, forest_statement_asked: true"),))
    order = f"/v1/orders/{ordered(desk, PLAIN)}"
    [was] = {each["lot"] for each in desk.get(order).json()["items"][0]["to_cut"] if each["part"] == "outside"}
    assert was == "L124"
    pinned = desk.entry(order, "pin", item=1, part="outside", lot="L125", reason="a better match")
    assert pinned.status_code == 201, pinned.text
    [entry] = [each for each in desk.get(order).json()["entries"] if each["kind"] == "pin"]
    assert "LAW-14" in entry["agreed"]


def findings(desk: Desk, quote: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = desk.get(f"/v1/quotes/{quote}").json()["findings"]
    return found
