"""Comparisons against single checks: whatever a comparison says of a spec, checks under both shops say one by one."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from support.desk import LONG, STRAP, TODAY, WALLET, Desk

from api.comparing import Compared, compared_in
from api.desk.orders import put_back
from api.editions import Editions
from api.schemas.spec import SpecIn, to_spec
from api.store.stock import live_holds, on_the_shelf
from rules.brief import Brief, brief_of
from rules.check import check, judge
from rules.comparison import Comparison, worst_by_rule
from rules.needs import less, named
from rules.sample import sample_specs
from rules.shop import Shop
from rules.spec import Spec

EXAMPLES = json.loads((Path(__file__).parents[1] / "data" / "example-specs.json").read_text(encoding="utf-8"))
CHANGES = 10
SLEEVE: dict[str, Any] = {
    "pattern": "sleeve",
    "parts": {"outside": {"leather": "SH-CHE"}},
    "thread": "TH-P05-TAN",
    "edge": "ED-BURN",
    "hardware": {"closure": "HW-SNAP20-BR"},
}
#: Figures of patterns and kinds that a change may move, and what by.
FIGURES = re.compile(
    r"((?:inner_radius_mm|limit_mm|depth_mm|strain_grain|stretch_percent|density_g_cm3): )(\d+(?:\.\d+)?)"
)
THRESHOLD = re.compile(r"(\{value: )(\d+(?:\.\d+)?)")
FACTORS = (0.6, 0.8, 0.9, 1.1, 1.25)


def changed(files: dict[str, str], chance: random.Random) -> tuple[str, dict[str, str]]:
    """Return the files with one figure moved that moves something readable; say which."""
    name = chance.choice(("thresholds.yaml", "patterns.yaml", "kinds.yaml"))
    found = list((THRESHOLD if name == "thresholds.yaml" else FIGURES).finditer(files[name]))
    match, factor = chance.choice(found), chance.choice(FACTORS)
    figure = float(match[2]) * factor
    text = f"{figure:.1f}" if "." in match[2] or figure < 2 else f"{figure:.0f}"
    moved = files[name][: match.start(2)] + text + files[name][match.end(2) :]
    line = files[name].count("\n", 0, match.start()) + 1
    return f"{name}:{line} {match[1]}{match[2]} -> {text}", {**files, name: moved}


def busy(desk: Desk) -> None:
    """Fill a workshop with quotes, orders in every state that is open, and checks."""
    for spec in (WALLET, SLEEVE, STRAP):
        assert desk.quote(spec).status_code == 201
    desk.quote(LONG)
    pair = desk.quote(WALLET, SLEEVE).json()["id"]
    assert desk.order(pair).status_code == 201
    cut = desk.order(desk.quote(SLEEVE).json()["id"]).json()
    for each in cut["items"][0]["to_cut"]:
        entry = {"kind": "cut", "item": 1, "part": each["part"], "lot": each["lot"]}
        assert desk.post(f"/v1/orders/{cut['id']}/entries", entry).status_code == 201
    for spec in sample_specs(desk.house.shop.catalog, random.Random("log"), TODAY, 60):
        answer = check(desk.house.shop, spec, today=TODAY)
        desk.house.log.add(desk.house.now(), "test", answer)
    for spec in (WALLET, SLEEVE, WALLET):
        desk.post("/v1/checks", spec)


def alone(shop: Shop, spec: Spec) -> Brief:
    return brief_of(judge(shop, spec, TODAY))


class OneByOne:
    """The same question asked of single checks, with the stock put together by other means than the comparison's."""

    def __init__(self, desk: Desk, old: Shop, new: Shop) -> None:
        self.desk = desk
        self.shops = [shop.apart() for shop in (old, new)]
        self.marks = iter(range(10**6))

    def stocked(self, plain: Shop, base: Any, needs: list[Any]) -> Shop:
        left = less(base, needs, plain.warehouse.gap_um)
        return plain.restocked(named(left, plain.catalog, f"alone{next(self.marks)}"), 0, 0)

    def pairs(self) -> Iterator[tuple[str, str, int | None, Brief, Brief]]:
        with self.desk.house.store.read() as connection:
            bases = [on_the_shelf(connection, shop.catalog) for shop in self.shops]
            holds = live_holds(connection)
        every = [need for hold in holds for need in hold.needs]
        now = [self.stocked(plain, base, every) for plain, base in zip(self.shops, bases, strict=True)]
        for example in EXAMPLES:
            spec = to_spec(SpecIn.model_validate(example["spec"]))
            yield "example", example["id"], None, alone(now[0], spec), alone(now[1], spec)
        for row in self.desk.house.store.engine.connect().exec_driver_sql(
            "SELECT max(id), spec FROM check_log GROUP BY 2"
        ):
            body = json.loads(row[1])
            if not (body.get("monogram") or {}).get("letters") and "letters" not in (body.get("monogram") or {}):
                spec = to_spec(SpecIn.model_validate(body))
                yield "check", str(row[0]), None, alone(now[0], spec), alone(now[1], spec)
        for kind in ("quote", "order"):
            listed = self.desk.get(f"/v1/{kind}s?limit=100").json()["items"]
            for record in listed:
                if record["state"] in {"held", "awaiting_sign_off", "short", "open", "cut"}:
                    yield from self.items(kind, record["id"], bases, holds)

    def items(self, kind: str, record: str, bases: list[Any], holds: Any) -> Iterator[Any]:
        told = self.desk.get(f"/v1/{kind}s/{record}").json()
        quote = told.get("quote", record)
        for item in told["items"]:
            own = next((hold.needs[item["item"] - 1] for hold in holds if hold.quote == quote), None)
            cuts = told["as_built"][item["item"] - 1]["cuts"] if kind == "order" else []
            others = [
                need for hold in holds for place, need in enumerate(hold.needs, 1)
                if (hold.quote, place) != (quote, item["item"])
            ]  # fmt: skip
            lots: dict[str, tuple[str, ...]] = {}
            for part, lot in [
                *((taken.part, taken.lot) for taken in (own.panels if own else ())),
                *((cut["part"], cut["lot"]) for cut in cuts),
            ]:
                lots[part] = tuple(dict.fromkeys((*lots.get(part, ()), lot)))
            spec = replace(to_spec(SpecIn.model_validate(item["spec"])), lots=lots)
            briefs = []
            for plain, base in zip(self.shops, bases, strict=True):
                given = base
                if kind == "order":
                    with self.desk.house.store.read() as connection:
                        minutes = connection.exec_driver_sql(
                            f"SELECT minutes FROM order_record WHERE id = '{record}'"
                        ).scalar()
                    backlog = given.workshop.backlog_minutes - minutes
                    given = replace(given, workshop=replace(given.workshop, backlog_minutes=backlog))
                for cut in cuts:
                    given = put_back(given, _raw_cut(self.desk, record, item["item"], cut))
                briefs.append(alone(self.stocked(plain, given, others), spec))
            yield kind, record, item["item"], briefs[0], briefs[1]


def _raw_cut(desk: Desk, record: str, item: int, cut: Any) -> Any:
    with desk.house.store.read() as connection:
        built = connection.exec_driver_sql(f"SELECT as_built FROM order_record WHERE id = '{record}'").scalar_one()
    own = json.loads(built)[item - 1]["cuts"]
    return next(each for each in own if (each["part"], each["lot"]) == (cut["part"], cut["lot"]))


def facts_of(found: Comparison) -> set[tuple[Any, ...]]:
    """Return all that a comparison names, but for the sample and patterns as they come."""
    facts = set()

    def put(heading: Any, cases: Any, *more: Any) -> None:
        assert cases.count == sum(cases.by_source.values())
        assert len(cases.named) == min(cases.count, 200)
        for pair in cases.named:
            asked = pair.asked
            if asked.source in {"example", "check", "quote", "order"}:
                facts.add((heading, *more, asked.source, asked.ref, asked.item))

    for rule, of in found.rules.items():
        put("falls", of.falls, rule)
        put("passes", of.passes, rule)
        for severities, cases in of.severities.items():
            put("severity", cases, rule, *severities)
    for outcomes, cases in found.outcomes.items():
        put("outcome", cases, *outcomes)
    put("total", found.totals)
    put("day", found.days)
    return facts


def facts_alone(pairs: list[tuple[str, str, int | None, Brief, Brief]]) -> set[tuple[Any, ...]]:
    facts = set()
    for source, ref, item, old, new in pairs:
        case = source, ref, item
        before, now = worst_by_rule(old), worst_by_rule(new)
        facts |= {("falls", rule, *case) for rule in now.keys() - before.keys()}
        facts |= {("passes", rule, *case) for rule in before.keys() - now.keys()}
        facts |= {
            ("severity", rule, before[rule], now[rule], *case)
            for rule in before.keys() & now.keys()
            if before[rule] != now[rule]
        }
        if old.outcome != new.outcome:
            facts.add(("outcome", old.outcome, new.outcome, *case))
        if old.total_minor != new.total_minor:
            facts.add(("total", *case))
        if old.ready_on != new.ready_on:
            facts.add(("day", *case))
    return facts


def test_ten_random_changes_of_limits_are_told_as_single_checks_tell_them(
    small: Desk, oddlestone_files: dict[str, str]
) -> None:
    busy(small)
    small.house.log.flush()
    specs = {each["id"]: to_spec(SpecIn.model_validate(each["spec"])) for each in EXAMPLES}
    chance, editions, told = random.Random("ten limits"), Editions(), []
    old = editions.of(oddlestone_files)
    differing = 0
    for _ in range(CHANGES):
        says, files = changed(oddlestone_files, chance)
        new = editions.of(files)
        found: Compared = compared_in(small.house, old, new, sample=0, specs=specs)
        pairs = list(OneByOne(small, old, new).pairs())
        counted = {
            source: sum(pair[0] == source for pair in pairs) for source in ("example", "check", "quote", "order")
        }
        assert {source: found.found.compared[source] for source in counted} == counted
        mine, theirs = facts_of(found.found), facts_alone(pairs)
        assert mine == theirs, says
        differing += bool(mine)
        told.append((says, len(mine)))
    assert differing >= 3, told  # else nothing was put to the test


def test_letters_that_the_log_does_not_keep_are_told_as_not_compared(
    small: Desk, oddlestone_files: dict[str, str]
) -> None:
    monogram = {"text": "ANNA", "method": "blind", "typeface": "CASLON", "zone": "front"}
    assert small.post("/v1/checks", {**WALLET, "monogram": monogram}).status_code == 200
    small.post("/v1/checks", WALLET)
    answer = small.post("/v1/rule-comparisons", {"files": {}, "sample": 0}).json()
    assert answer["not_compared"] == [
        {"source": "check", "why": "the letters of the monogram are not kept", "count": 1}
    ]
    assert answer["compared"]["check"] == 1


def test_a_comparison_over_http_names_the_rule_the_cases_and_both_sides(
    small: Desk, oddlestone_files: dict[str, str]
) -> None:
    text = oddlestone_files["thresholds.yaml"]
    line = next(line for line in text.splitlines() if line.startswith("letters_sign_off_over"))
    prices = oddlestone_files["price-list.yaml"].replace("E: 435", "E: 455")
    files = {"thresholds.yaml": text.replace(line, line.replace("value: 4", "value: 2")), "price-list.yaml": prices}
    specs = {"mine": {**WALLET, "monogram": {"text": "ANNA", "method": "blind"}}, "plain": WALLET}
    answer = small.post("/v1/rule-comparisons", {"files": files, "sample": 300, "specs": specs}).json()
    rules = {rule["rule"]: rule for rule in answer["rules"]}
    refs = [(case["source"], case["ref"]) for case in rules["MON-09"]["newly_falls"]["cases"]]
    assert ("example", "mine") in refs
    assert ("example", "plain") not in refs
    totals = {case["ref"]: case for case in answer["totals"]["cases"] if case["source"] == "example"}
    assert {case["difference"] for case in totals.values()} == {"20.00"}
    assert set(totals) == {"mine", "plain"}
    assert (answer["old"]["edition"], answer["new"]["edition"]) == (1, None)
    assert answer["old"]["content_hash"] != answer["new"]["content_hash"]
    assert answer["compared"]["sample"] == 300


def test_who_is_not_the_owner_is_not_told_of_the_owners_rules(small: Desk, oddlestone_files: dict[str, str]) -> None:
    kinds = re.sub(
        r"(price_per_sqft: )(\d+)", lambda found: f"{found[1]}{int(found[2]) * 4}", oddlestone_files["kinds.yaml"]
    )
    assert kinds != oddlestone_files["kinds.yaml"]
    body = {"files": {"kinds.yaml": kinds}, "sample": 200}
    seen = {who: small.post("/v1/rule-comparisons", body, who).json() for who in ("owner", "staff")}
    assert "PRC-01" in {rule["rule"] for rule in seen["owner"]["rules"]}
    assert "PRC-01" not in json.dumps(seen["staff"])
    assert seen["owner"]["changed"]
    assert seen["staff"]["changed"] == {}, "a count would tell the margin as well as the rule does"
    assert small.post("/v1/rule-comparisons", body, "server").status_code == 403


def test_the_same_files_change_nothing(small: Desk) -> None:
    busy(small)
    answer = small.post("/v1/rule-comparisons", {"edition": 1, "sample": 200}).json()
    assert (answer["changed"], answer["rules"], answer["outcomes"]) == ({}, [], [])
    assert (answer["totals"]["count"], answer["ready_on"]["count"]) == (0, 0)
    # Of 61 different checks some have letters, which the log does not keep.
    assert answer["compared"] == answer["compared"] | {"order": 3, "pattern": 12, "quote": 3, "sample": 200}
