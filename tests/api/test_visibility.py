"""Who sees what: every field of real answers, for all four classes of keys."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.schemas.answer import CheckAnswer
from api.visibility import NOUNS, OWNER_RULES, STOCK_RULES, Caller, noun_view, view

PAGE, SERVER, STAFF, OWNER = Caller.PAGE, Caller.SERVER, Caller.STAFF, Caller.OWNER

#: By field, written down a second time: the least class that sees it. A field that is not here fails a test.
LEAST: dict[str, Caller] = {
    **dict.fromkeys(
        [
            "outcome", "complete", "headline", "spec", "resolved", "filled", "spec_hash", "price", "rated_for",
            "promise", "withdrawal", "revisions", "as_of", "valid_until", "explained", "alternatives", "figures",
            "findings.id", "findings.rule", "findings.severity", "findings.at", "findings.subject",
            "findings.measured", "findings.limit", "findings.bound", "findings.off_by", "findings.unit",
            "findings.caused_by", "findings.message", "findings.params", "findings.remedies", "findings.source",
        ],
        PAGE,
    ),
    "spec.lots": STAFF,
    "cut_from": STAFF,
    "figures.minutes": STAFF,
    "figures.cost": OWNER,
    "figures.margin_percent": OWNER,
    "findings.bench_message": STAFF,
    "findings.subject.lot": STAFF,
    "findings.params.lot": STAFF,
    "explained.subject.lot": STAFF,
    "read_back": PAGE,
    "read_back.good": STAFF,
    "read_back.worn": STAFF,
}  # fmt: skip


def paths(value: Any, at: str = "") -> Iterator[str]:
    """Yield where every scalar of a JSON value is, list places left out."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from paths(inner, f"{at}.{name}".lstrip("."))
    elif isinstance(value, list):
        for inner in value:
            yield from paths(inner, at)
    else:
        yield at


def least_of(path: str) -> Caller | None:
    """Return the class of the longest entry of LEAST that a path lies under."""
    steps = path.split(".")
    for count in range(len(steps), 0, -1):
        if (found := LEAST.get(".".join(steps[:count]))) is not None:
            return found
    return None


def test_every_field_of_a_real_answer_is_decided_upon(answer: dict[str, Any]) -> None:
    assert [path for path in paths(answer) if least_of(path) is None] == []


@pytest.mark.parametrize("who", Caller)
def test_a_caller_sees_the_fields_of_its_class_and_no_others(answer: dict[str, Any], who: Caller) -> None:
    for secret in OWNER_RULES:
        answer["findings"] = [each for each in answer["findings"] if each["rule"] != secret]
    expected = {path for path in paths(answer) if who >= (least_of(path) or OWNER)}
    assert set(paths(view(answer, who))) == expected


def test_the_owner_sees_the_answer_itself(answer: dict[str, Any]) -> None:
    assert view(answer, OWNER) is answer


@pytest.mark.parametrize("who", Caller)
def test_a_view_leaves_the_answer_as_it_was(answer: dict[str, Any], who: Caller) -> None:
    before = copy.deepcopy(answer)
    view(answer, who)
    assert answer == before


@pytest.mark.parametrize("who", Caller)
def test_every_view_fits_the_schema_of_the_answer(answer: dict[str, Any], who: Caller) -> None:
    seen = view(answer, who)
    again = CheckAnswer.model_validate(seen).model_dump(exclude_unset=True)
    assert json.dumps(again) == json.dumps(seen)


@pytest.mark.parametrize("who", [PAGE, SERVER])
def test_a_shop_front_learns_no_lot_no_minute_and_no_cost(answer: dict[str, Any], who: Caller) -> None:
    words = json.dumps({**view(answer, who), "figures": None})
    lots = {cut["lot"] for cut in answer["cut_from"]} | {f"L{number}" for number in range(101, 141)}
    assert [lot for lot in lots if lot in words] == []


def finding(rule: str, place: int, **fields: Any) -> dict[str, Any]:
    return {
        "id": f"f{place}", "rule": rule, "severity": "advise", "at": ["/quantity"], "subject": {}, "measured": 5,
        "limit": 3, "bound": "max", "off_by": 2, "unit": "m", "caused_by": None, "message": f"{rule} speaks.",
        "bench_message": "b", "params": {"left": 3}, "remedies": [], "source": "s", **fields,
    }  # fmt: skip


def with_findings(*findings: dict[str, Any]) -> dict[str, Any]:
    return {"headline": findings[0]["message"], "findings": list(findings), "alternatives": []}


@pytest.mark.parametrize("rule", [*sorted(STOCK_RULES), "STO-01", "STO-07"])
@pytest.mark.parametrize("who", Caller)
def test_figures_that_tell_the_stock_are_for_staff(rule: str, who: Caller) -> None:
    seen = view(with_findings(finding(rule, 1)), who)["findings"][0]
    figures = [seen["measured"], seen["limit"], seen["off_by"], seen["params"]["left"]]
    assert figures == ([5, 3, 2, 3] if who >= STAFF else [None, None, None, None])
    assert (seen["message"], seen["bound"], seen["unit"]) == (f"{rule} speaks.", "max", "m")


@pytest.mark.parametrize("who", Caller)
def test_figures_of_the_trade_are_for_everyone(who: Caller) -> None:
    seen = view(with_findings(finding("STK-01", 1)), who)["findings"][0]
    assert (seen["measured"], seen["limit"], seen["off_by"], seen["params"]) == (5, 3, 2, {"left": 3})


@pytest.mark.parametrize("who", [PAGE, SERVER, STAFF])
def test_the_margin_is_the_owners_own_and_leaves_no_gap(who: Caller) -> None:
    answer = with_findings(
        finding("PRC-01", 1),
        finding("THK-08", 2),
        finding("FLD-04", 3, caused_by="f2"),
        finding("LAW-08", 4, severity="notice", caused_by="f1"),
    )
    seen = view(answer, who)
    assert [(each["id"], each["rule"], each["caused_by"]) for each in seen["findings"]] == [
        ("f1", "THK-08", None), ("f2", "FLD-04", "f1"), ("f3", "LAW-08", None),
    ]  # fmt: skip


@pytest.mark.parametrize("who", Caller)
def test_every_caller_reads_the_same_headline(who: Caller) -> None:
    """The rules never write the margin into it, so there is nothing to replace."""
    answer = {**with_findings(finding("PRC-01", 1), finding("THK-08", 2)), "headline": "Key Fob can be made as asked."}
    assert view(answer, who)["headline"] == "Key Fob can be made as asked."


@pytest.mark.parametrize("who", Caller)
def test_changes_that_name_a_lot_are_for_those_who_may_send_one(who: Caller) -> None:
    offers = [
        {"change": {"lots": {"outside": ["L101"]}}, "outcome": "buildable", "total": None, "says": "another lot"},
        {"change": {"quantity": 1}, "outcome": "buildable", "total": "1.00", "says": "one piece"},
    ]
    answer = {**with_findings(finding("STO-03", 1, remedies=offers)), "alternatives": offers}
    seen = view(answer, who)
    said = ["another lot", "one piece"] if who >= STAFF else ["one piece"]
    assert [each["says"] for each in seen["findings"][0]["remedies"]] == said
    assert [each["says"] for each in seen["alternatives"]] == said


@pytest.mark.parametrize("who", Caller)
def test_a_field_that_nobody_decided_upon_is_the_owners(who: Caller) -> None:
    seen = view({**with_findings(finding("STK-01", 1)), "brand_new": 1}, who)
    assert ("brand_new" in seen) is (who is OWNER)


@pytest.mark.parametrize("who", Caller)
def test_the_catalog_shows_stock_to_staff_and_cost_to_the_owner(client: TestClient, who: Caller) -> None:
    for resource, least in NOUNS.items():
        noun = client.get(f"/v1/{resource}").json()["items"][0]
        assert set(least) <= set(noun)
        hidden = {name for name, needed in least.items() if who < needed}
        assert set(noun) - set(noun_view(resource, noun, who)) == hidden
