"""What can still be chosen, over HTTP: whole, by class of key, and true at every click."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from support.desk import Desk, a_desk

from api import choices as answering
from api.choices import Asking
from api.schemas.choices import ChoicesAnswer
from api.visibility import Caller
from rules.guide import guide
from rules.spec import Spec

PATH = "/v1/choices"
FOB: dict[str, Any] = {"pattern": "fob"}
#: A house rule of the demo: coral paint is too pale for a blue leather.
CLASHING: dict[str, Any] = {"pattern": "fob", "parts": {"outside": {"leather": "PU-INK"}}, "edge": "ED-PNT-COR"}
ARTICLES: dict[str, dict[str, Any]] = {
    "fob": FOB,
    "sleeve": {"pattern": "sleeve", "carry": {"cards": 6}},
    "lead": {"pattern": "lead", "purpose": {"dog_kg": 30}},
    "belt": {"pattern": "belt", "quantity": 2},
}
LOT = re.compile(r"\bL1\d\d\b")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """A workshop with a key of each class, whose stock no test changes."""
    with a_desk(f"sqlite:///{tmp_path_factory.mktemp('choices') / 'store.sqlite3'}") as desk:
        yield desk


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Desk]:
    """A workshop that a test may change."""
    with a_desk(f"sqlite:///{tmp_path / 'store.sqlite3'}") as desk:
        yield desk


def asked(desk: Desk, body: Any, who: str = "owner", query: str = "") -> Any:
    answer = desk.post(PATH + query, body, who)
    assert answer.status_code == 200, answer.text
    return answer.json()


def slot(answer: Any, pointer: str) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in answer["slots"] if each["slot"] == pointer)
    return found


def option(answer: Any, pointer: str, value: Any) -> dict[str, Any]:
    found: dict[str, Any] = next(each for each in slot(answer, pointer)["options"] if each["value"] == value)
    return found


def leather(code: str, side: str = "grain") -> dict[str, str]:
    return {"leather": code, "side": side}


def test_the_answer_is_as_the_document_has_it(desk: Desk) -> None:
    for query in ("", "?figures=all"):
        answer = asked(desk, FOB, query=query)
        ChoicesAnswer.model_validate(answer)
        assert list(answer) == [
            "buildable", "state", "exact", "currency", "quantity", "slots", "needed", "conflict", "findings",
            "revisions", "as_of",
        ]  # fmt: skip
        assert (answer["buildable"], answer["state"], answer["exact"]) == (True, "open", True)
        assert (answer["currency"], answer["quantity"], answer["conflict"], answer["findings"]) == ("EUR", 1, None, [])
        more = {"dearest", "completions"} if query else set()
        for each in (each for one in answer["slots"] for each in one["options"]):
            closed = each["state"] == "closed"
            assert set(each) == {"value", "state"} | ({"because"} if closed else {"cheapest"} | more)
            assert each.get("because") != []


def test_every_slot_that_a_fob_has_is_there_and_match_is_no_option(desk: Desk) -> None:
    answer = asked(desk, FOB)
    assert [each["slot"] for each in answer["slots"]] == [
        "/parts/outside", "/edge", "/stitch", "/thread", "/hardware/ring", "/hardware/rivet", "/modifications",
        "/monogram/method", "/monogram/typeface", "/monogram/zone", "/monogram/foil",
    ]  # fmt: skip
    assert "match" not in [each["value"] for each in slot(answer, "/thread")["options"]]
    assert None in [each["value"] for each in slot(answer, "/hardware/rivet")["options"]]
    assert None not in [each["value"] for each in slot(answer, "/hardware/ring")["options"]]


def test_the_same_choices_have_the_same_bytes(desk: Desk) -> None:
    bodies = [FOB, {"left_out": None, "quantity": 1, "pattern": "FOB"}]
    contents = {desk.post(f"{PATH}?figures=all", body).content for body in (*bodies, *bodies)}
    assert len(contents) == 1


def test_what_was_asked_before_changes_no_byte(desk: Desk) -> None:
    """Two things stand in the way at once, so that what is told is one of several true reasons."""
    body = {
        "pattern": "belt", "parts": {"outside": {"leather": "SH-GAR", "side": "flesh"}}, "edge": "ED-PNT-COR",
        "stitch": "hand", "hardware": {"buckle": "HW-BELT35-BR"}, "sizes": {"width_mm": 25},
        "modifications": ["no_brand"], "monogram": {"text": "AB", "method": "ink", "foil": "FO-SIL"},
    }  # fmt: skip
    contents = {desk.post(PATH, body).content for _ in range(3)}
    for edge in ("ED-RAW", "ED-BURN", "ED-PNT-NAV"):
        desk.post(PATH, {**body, "edge": edge, "parts": {}})
        contents.add(desk.post(PATH, body).content)
    assert len(contents) == 1


def chosen(body: dict[str, Any], pointer: str, value: Any) -> dict[str, Any]:
    """Return a body in which an option was taken."""
    body = deepcopy(body)
    head, _, name = pointer[1:].partition("/")
    if value is None:
        body.setdefault("left_out", []).append("/monogram" if head == "monogram" else pointer)
    elif head == "modifications":
        body.setdefault("modifications", []).append(value)
    elif head == "monogram":
        body.setdefault("monogram", {"text": "A"})[name] = value
    elif name:
        body.setdefault(head, {})[name] = value
    else:
        body[head] = value
    return body


def is_open(one: dict[str, Any], body: dict[str, Any]) -> bool:
    """Whether something is still to be chosen in a slot; modifications are until no further one is wanted."""
    pointer, empty = one["slot"], body.get("left_out", ())
    if pointer.startswith("/monogram/") and not pointer.endswith("/method"):
        lettering = body.get("monogram", {})  # without a method there is nothing to set, and so nothing to set it in
        wanted = lettering.get("method") == "foil" if pointer.endswith("/foil") else "method" in lettering
        return wanted and one["chosen"] is None
    if pointer == "/monogram/method" and "/monogram" in empty:
        return False
    return pointer not in empty and (pointer == "/modifications" or one["chosen"] is None)


@pytest.mark.parametrize("article", ARTICLES)
@pytest.mark.parametrize("dearest", [False, True], ids=["cheapest", "dearest"])
def test_following_a_price_leads_to_a_check_that_is_buildable_at_that_price(
    desk: Desk, article: str, dearest: bool
) -> None:
    """Every answer is held to the one before: an option's total is kept by some option of each other slot."""
    body, field = ARTICLES[article], "dearest" if dearest else "cheapest"
    promised = None
    for _ in range(20):
        answer = asked(desk, body, query="?figures=all")
        assert answer["buildable"]
        waiting = [each for each in answer["slots"] if is_open(each, body)]
        if not waiting:
            break
        one = waiting[-1]  # from the end, so that what comes first in a pattern has to fit what came last
        own = one["chosen"] or ()  # modifications: those that were taken
        best = [each for each in one["options"] if each["state"] == "open" and each["value"] not in own]
        pick = (max if dearest else min)(best, key=lambda each: float(each[field]))
        promised = promised or pick[field]
        assert pick[field] == promised
        body = chosen(body, one["slot"], pick["value"])
    spec = {name: value for name, value in body.items() if name != "left_out"}
    check = desk.post("/v1/checks", spec).json()
    assert (check["outcome"], check["price"]["total"]) == ("buildable", promised), (spec, check["headline"])


def test_customers_see_sentences_and_the_workshop_figures(desk: Desk) -> None:
    for who in ("page", "server"):
        answer = asked(desk, FOB, who)
        reasons = [each for one in answer["slots"] for each in one["options"] if "because" in each]
        assert {frozenset(reason) for each in reasons for reason in each["because"]} == {frozenset({"rule", "says"})}
        assert LOT.search(json.dumps(answer)) is None
    for who in ("staff", "owner"):
        answer = asked(desk, FOB, who)
        reasons = [each for one in answer["slots"] for each in one["options"] if "because" in each]
        assert all(
            set(reason) == {"rule", "says", "measured", "limit", "unit", "bench_message"}
            for each in reasons for reason in each["because"]
        )  # fmt: skip


def test_no_rule_of_the_owner_is_told_to_anybody(desk: Desk) -> None:
    body = {"pattern": "fob", "parts": {"outside": {"leather": "VS-NAT"}}, "quantity": 12}
    for who in ("page", "staff", "owner"):
        assert "PRC-01" not in json.dumps(asked(desk, body, who))


def test_only_the_workshop_names_lots(desk: Desk) -> None:
    body = {"pattern": "fob", "parts": {"outside": {"leather": "SH-GAR"}}, "lots": {"outside": ["L104"]}}
    for who in ("page", "server"):
        refused = desk.post(PATH, body, who)
        assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (403, "/lots")
    assert asked(desk, body, "staff")["state"] in ("open", "sign_off", "closed")


def test_a_code_that_does_not_exist_is_told_and_all_else_answered(desk: Desk) -> None:
    body = {**FOB, "thread": "TH-P05-BLU", "modifications": ["wings"], "parts": {"gusset": {"leather": "SH-GAR"}}}
    body |= {"purpose": {"claims": ["glows"]}, "carry": {"tools": [{"item": "TO-OAR"}]}}
    answer, check = asked(desk, body, "page"), desk.post("/v1/checks", body, "page").json()
    assert (answer["buildable"], answer["state"], answer["conflict"]) == (False, "closed", None)
    told = {(each["rule"], each["at"][0], each["message"]) for each in answer["findings"]}
    assert {(rule, at) for rule, at, _ in told} == {
        ("CAT-01", "/thread"), ("CAT-05", "/modifications/0"), ("CAT-04", "/parts/gusset"),
        ("CAT-01", "/purpose/claims/0"), ("CAT-01", "/carry/tools/0/item"),
    }  # fmt: skip
    assert told <= {(each["rule"], each["at"][0], each["message"]) for each in check["findings"]}
    assert slot(answer, "/parts/outside") == slot(asked(desk, FOB, "page"), "/parts/outside")


@pytest.mark.parametrize("method", [{}, {"method": "foil"}, {"method": "blind"}])
def test_a_foil_that_does_not_exist_is_told_and_can_be_left_out(desk: Desk, method: dict[str, str]) -> None:
    letters = {"text": "A", "typeface": "FA-SER14", "zone": "Z-OUT-COR", **method}
    parts = {"outside": {"leather": "VS-NAT"}, "inside": {"leather": "GO-BLK"}, "pockets": {"leather": "GO-BLK"}}
    spec = {"pattern": "twofold", "parts": parts, "thread": "TH-P05-TAN", "edge": "ED-BURN", "stitch": "hand"}
    good, bad = ({**spec, "monogram": {**letters, **foil}} for foil in ({}, {"foil": "FO-NONE"}))
    answer, whole = asked(desk, bad), asked(desk, good)
    assert (answer["state"], answer["conflict"]) == ("closed", None)
    assert [(each["rule"], each["at"]) for each in answer["findings"]] == [("CAT-01", ["/monogram/foil"])]
    assert slot(answer, "/monogram/foil")["chosen"] == "FO-NONE"
    for pointer in ("/parts/outside", "/edge", "/monogram/method", "/monogram/zone"):
        assert slot(answer, pointer) == slot(whole, pointer)
    offered = desk.post("/v1/checks?alternatives=5", bad).json()["alternatives"]
    assert offered
    if method == {"method": "blind"}:
        assert offered[0]["change"] == {"monogram": {"foil": None}}


def test_what_is_still_needed_is_what_a_check_asks_for(desk: Desk) -> None:
    """Held against the check: CAT-03 names every gap of a spec."""
    for body in (
        {"pattern": "lead"},
        {"pattern": "lead", "purpose": {"use": "dog_lead", "dog_kg": 20}, "edge": "ED-BURN"},
        {"pattern": "fob", "monogram": {"text": "A.B."}, "thread": "TH-P05-BLK"},
        {"pattern": "twofold"},
    ):
        gaps = [
            each["at"] for each in desk.post("/v1/checks", body, "page").json()["findings"] if each["rule"] == "CAT-03"
        ]
        needed = asked(desk, body)["needed"]
        assert sorted(needed) == sorted(at for each in gaps for at in each)
        assert needed
    assert asked(desk, {**FOB, "thread": "TH-P05-BLK"})["needed"] != asked(desk, FOB)["needed"]


def test_an_unknown_pattern_leaves_the_patterns_to_choose_from(desk: Desk) -> None:
    answer = asked(desk, {"pattern": "fobb", "quantity": 3}, "page")
    assert [(each["rule"], each["at"]) for each in answer["findings"]] == [("CAT-01", ["/pattern"])]
    assert answer["state"] == "closed"
    assert [each["slot"] for each in answer["slots"]] == ["/pattern"]
    patterns = [each["code"] for each in desk.get("/v1/patterns").json()["items"]]
    assert [each["value"] for each in answer["slots"][0]["options"]] == patterns
    best = min(slot(asked(desk, FOB), "/parts/outside")["options"], key=lambda each: float(each.get("cheapest", 1e9)))
    assert option(answer, "/pattern", "fob") == {"value": "fob", "state": "open", "cheapest": best["cheapest"]}


def test_choices_that_clash_are_named_with_the_rule_and_every_slot_is_answered_still(desk: Desk) -> None:
    answer = asked(desk, CLASHING, "page")
    assert (answer["buildable"], answer["state"]) == (False, "closed")
    assert answer["conflict"]["choices"] == [["/parts/outside", "/edge"]]
    assert [each["rule"] for each in answer["conflict"]["rules"]] == ["H-PALE-ON-BLUE"]
    assert desk.post("/v1/checks", CLASHING).json()["outcome"] == "refused"
    assert [each["slot"] for each in answer["slots"]] == [each["slot"] for each in asked(desk, FOB)["slots"]]
    ways_out = [each for each in slot(answer, "/edge")["options"] if each["state"] == "open"]
    assert ways_out
    other = CLASHING | {"edge": ways_out[0]["value"]}
    assert asked(desk, other)["buildable"]


def test_what_is_closed_beside_a_match_has_a_reason(desk: Desk) -> None:
    body = {"pattern": "twofold", "parts": {"outside": {"leather": "VS-COG", "side": "flesh"}}, "edge": "match"}
    for each in (each for one in asked(desk, body)["slots"][:3] for each in one["options"]):
        assert each.get("because") != []


def test_what_is_left_out_stays_empty(desk: Desk) -> None:
    whole, without = asked(desk, FOB, query="?figures=all"), {**FOB, "left_out": ["/monogram"]}
    answer = asked(desk, without, query="?figures=all")
    count = int(option(answer, "/edge", "ED-BURN")["completions"])
    assert count == int(option(whole, "/monogram/method", None)["completions"]) - sum(
        int(each["completions"]) for each in slot(answer, "/edge")["options"]
        if each["value"] != "ED-BURN" and each["state"] == "open"
    )  # fmt: skip
    assert option(answer, "/edge", "ED-BURN")["dearest"] <= option(whole, "/edge", "ED-BURN")["dearest"]


def test_what_is_left_out_and_chosen_is_chosen(desk: Desk) -> None:
    body = {**FOB, "monogram": {"text": "A"}, "hardware": {"rivet": "HW-RIV9-BR"}}
    assert asked(desk, body | {"left_out": ["/monogram", "/hardware/rivet"]}) == asked(desk, body)


def test_a_place_that_a_pattern_lacks_is_not_left_out_in_silence(desk: Desk) -> None:
    answer = desk.post(PATH, {**FOB, "left_out": ["/monogram", "/hardware/rivit"]}, "page")
    assert answer.status_code == 422
    (error,) = answer.json()["errors"]
    assert error["pointer"] == "/left_out/1"
    assert "rivet" in error["detail"]


def test_what_a_pattern_needs_cannot_be_left_out(desk: Desk) -> None:
    answer = asked(desk, {**FOB, "left_out": ["/hardware/ring"]})
    assert (answer["state"], answer["conflict"]) == ("closed", None)
    assert [(each["rule"], each["at"]) for each in answer["findings"]] == [("CAT-03", ["/hardware/ring"])]


def test_nothing_chosen_is_null_everywhere(desk: Desk) -> None:
    assert {json.dumps(each["chosen"]) for each in asked(desk, FOB)["slots"]} == {"null"}
    answer = asked(desk, {**FOB, "modifications": ["no_brand"]})
    assert slot(answer, "/modifications")["chosen"] == ["no_brand"]


HOSTILE: dict[str, tuple[Any, str]] = {
    "no pattern": ({}, "/pattern"),
    "a name that is none": ({**FOB, "colour": "red"}, "/colour"),
    "left out, a text": ({**FOB, "left_out": "/monogram"}, "/left_out"),
    "left out, a part": ({**FOB, "left_out": ["/monogram", "/parts/outside"]}, "/left_out/1"),
    "left out, far too many": ({**FOB, "left_out": ["/monogram"] * 21}, "/left_out"),
    "left out, no name": ({**FOB, "left_out": ["/hardware/" + "x" * 5000]}, "/left_out/0"),
    "left out, a line": ({**FOB, "left_out": ["/monogram\n"]}, "/left_out/0"),
    "a quantity without end": ({**FOB, "quantity": 10**30}, "/quantity"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_body_that_breaks_the_schema_is_told_where(desk: Desk, name: str) -> None:
    body, pointer = HOSTILE[name]
    answer = desk.post(PATH, body, "page")
    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json()["errors"]] == [pointer]
    assert len(answer.content) < 4096


@pytest.mark.parametrize("query", ["?figures=some", "?figures=", "?explain=all"])
def test_a_query_that_means_nothing_is_refused(desk: Desk, query: str) -> None:
    assert desk.post(PATH + query, FOB).status_code == 422


def test_what_a_quote_holds_is_closed_at_the_next_click(own: Desk) -> None:
    """The remnant L103 gives one strap."""
    body = {"pattern": "wstrap", "lots": {"outside": ["L103"]}, "parts": {"outside": {"leather": "SH-BLK"}}}
    before = option(asked(own, body), "/parts/outside", leather("SH-BLK"))
    strap = {
        **body, "parts": {"outside": {"leather": "SH-BLK"}, "lining": {"leather": "GO-BLK"}}, "thread": "TH-P05-BLK",
        "edge": "ED-BURN", "hardware": {"buckle": "HW-BKL16-SS"}, "sizes": {"lug_mm": 18, "taper_mm": 2},
    }  # fmt: skip
    held = own.quote(strap)
    assert held.status_code == 201, held.text
    answer = asked(own, body)
    after = option(answer, "/parts/outside", leather("SH-BLK"))
    assert (before["state"], after["state"]) == ("open", "closed")
    assert {each["rule"][:4] for each in after["because"]} == {"STO-"}
    assert own.post(f"/v1/quotes/{held.json()['id']}/entries", {"kind": "withdraw", "reason": "no"},
                    version=held.headers["etag"]).status_code == 201  # fmt: skip
    assert option(asked(own, body), "/parts/outside", leather("SH-BLK")) == before


RULE = """\
  - id: H-NO-BURNISHED-FOB
    each: piece
    says: No fob with a burnished edge.
    why: A ring rubs it open.
    tell: A ring rubs a burnished edge open. A stained or painted one will do.
    source: the owner, 2026-03-02
    severity: refuse
    when: {piece.pattern: fob}
    forbid: {piece.edge: ED-BURN}
    at: [/edge]
    examples:
      - fails: {piece.pattern: fob, piece.edge: ED-BURN}
      - passes: {piece.edge: ED-STN-BLK}
      - skips: {piece.pattern: belt}
"""


def test_a_rule_that_the_house_adds_changes_checks_lists_and_choices_alike(
    own: Desk, oddlestone_files: dict[str, str]
) -> None:
    spec = {
        "pattern": "fob", "parts": {"outside": {"leather": "VS-NAT"}}, "thread": "TH-P05-TAN", "edge": "ED-BURN",
        "hardware": {"ring": "HW-RING30-SS"},
    }  # fmt: skip

    def told() -> tuple[str, str, str]:
        check = own.post("/v1/checks", spec).json()
        rows = own.post("/v1/wishlists?mode=independent", {"specs": [spec]}).json()["rows"]
        return check["outcome"], rows[0]["check"]["outcome"], option(asked(own, FOB), "/edge", "ED-BURN")["state"]

    assert told() == ("buildable", "buildable", "open")
    files = {"house-rules.yaml": oddlestone_files["house-rules.yaml"] + RULE}
    draft = own.post("/v1/edition-drafts", {"files": files})
    assert draft.status_code == 200, draft.text
    assert own.post("/v1/editions", {"files": files}, version=draft.headers["etag"]).status_code == 201
    assert told() == ("refused", "refused", "closed")
    closed = option(asked(own, FOB, "page"), "/edge", "ED-BURN")
    says = "A ring rubs a burnished edge open. A stained or painted one will do."
    assert closed["because"] == [{"rule": "H-NO-BURNISHED-FOB", "says": says}]


@pytest.mark.parametrize(("quantities", "at_once"), [((1, 1, 1), 1), ((1, 2, 3), 3)])
def test_who_asks_what_another_is_compiling_waits_for_it_and_nobody_else_does(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, quantities: tuple[int, ...], at_once: int
) -> None:
    inside, most = 0, 0
    together = threading.Barrier(at_once)

    def slow(*given: Any, **more: Any) -> Any:
        nonlocal inside, most
        inside += 1
        most = max(most, inside)
        together.wait(10)  # so many must be inside at once for anyone to go on
        inside -= 1
        return guide(*given, **more)

    monkeypatch.setattr(answering, "guide", slow)
    shop, today = desk.house.shop, desk.house.clock.today()
    with ThreadPoolExecutor(3) as pool:
        asked_now = [
            pool.submit(answering.choices_for, shop, Spec(pattern="fob", quantity=each), today, Asking(Caller.PAGE))
            for each in quantities
        ]
        assert all(each.result()["slots"] for each in asked_now)
    assert most == at_once


def test_choices_are_not_kept_by_caches(desk: Desk) -> None:
    assert desk.post(PATH, FOB).headers["cache-control"] == "no-store"


@pytest.mark.parametrize("letters", ["A", "M" * 6, "M" * 12, "M" * 20])
@pytest.mark.parametrize("pattern", ["twofold", "longfold", "upright", "clipfold", "fob"])
def test_places_too_small_for_long_letters_are_closed_by_the_rule_each_said_once(
    desk: Desk, pattern: str, letters: str
) -> None:
    """Places on two parts are judged part by part: a rule may close those of one part alone."""
    answer = asked(desk, {"pattern": pattern, "monogram": {"text": letters}})
    for each in (each for one in answer["slots"] for each in one["options"] if each["state"] == "closed"):
        rules = [reason["rule"] for reason in each["because"]]
        assert len(rules) == len(set(rules))
    zones = [each for each in slot(answer, "/monogram/zone")["options"] if each["value"] is not None]
    assert all(each["because"] for each in zones if each["state"] == "closed")
    assert {each["state"] for each in zones if letters == "M" * 20} <= {"closed"}
