"""The rule book read, printed and audited over HTTP and from the command line."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from api.__main__ import main
from api.app import create_app
from api.house import House, open_house
from api.keys import make_key
from api.rule_audit import RuleAudits
from api.rule_sheet import SIGNS, sheet
from api.settings import DEMO_CATALOG, Settings
from api.visibility import Caller
from rules.applies import rules_for
from rules.ir import SEVERITIES, STAGES
from rules.lots import find_best
from rules.sample import sample_specs
from rules.shop import Shop

TODAY = {"QUARTERFOOT_TODAY": "2026-03-02"}
#: What is said of a sign-off wherever it is asked.
BENCH_TOO = SIGNS["sign_off"][2]


def ids(client: TestClient, query: str = "", **headers: str) -> list[str]:
    answer = client.get(f"/v1/rules{query}", headers=headers)
    assert answer.status_code == 200, answer.text
    return [rule["id"] for rule in answer.json()["items"]]


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    store = f"sqlite:///{tmp_path_factory.mktemp('store') / 'rules.sqlite3'}"
    house = open_house(Settings(today=date(2026, 3, 2), database_url=store))
    yield house
    house.close()


@pytest.fixture(scope="module")
def by_class(house: House) -> dict[str, dict[str, str]]:
    with house.store.write() as write:
        keys = {
            name: make_key(write, name, name=name, at=house.now(), by="test")
            for name in ("page", "server", "staff", "owner")
        }
    return {name: {"authorization": f"Bearer {key}"} for name, key in keys.items()}


@pytest.fixture(scope="module")
def anyone(house: House) -> Iterator[TestClient]:
    app = create_app(house)
    app.state.rule_audits = RuleAudits(specs=200, exact=False)
    with TestClient(app, raise_server_exceptions=False) as client:
        yield client


def test_each_filter_keeps_what_it_names_and_all_parts_make_the_whole(client: TestClient) -> None:
    everything = client.get("/v1/rules").json()["items"]
    families = list(dict.fromkeys(rule["family"] for rule in everything))
    assert [each for family in families for each in ids(client, f"?family={family}")] == [r["id"] for r in everything]
    for stage in STAGES:
        assert ids(client, f"?stage={stage}") == [rule["id"] for rule in everything if stage in rule["stages"]]
    for severity in SEVERITIES:
        wanted = [rule["id"] for rule in everything if severity in rule["severities"]]
        assert ids(client, f"?severity={severity}") == wanted
        assert wanted
    assert "CAT-10" in ids(client, "?stage=quote&severity=sign_off")
    assert "CAT-10" not in ids(client, "?stage=check&severity=sign_off"), "there it only gives notice"
    both = ids(client, "?family=folds&severity=advise")
    assert (
        both == [each for each in ids(client, "?family=folds") if each in ids(client, "?severity=advise")] == ["FLD-04"]
    )


def test_a_pattern_has_the_rules_of_what_it_has(client: TestClient) -> None:
    assert {"LAW-07", "FIT-10", "HDW-08"} <= set(ids(client, "?pattern=sheath"))
    assert {"LAW-03", "HDW-04", "FIT-08"} <= set(ids(client, "?pattern=WSTRAP"))
    wallet = set(ids(client, "?pattern=twofold"))
    assert not wallet & {"FIT-09", "FIT-08", "LOD-01", "HDW-01", "HDW-04", "LAW-06", "LAW-03"}
    assert {"STK-01", "FLD-01", "THK-04", "MON-03", "CAT-01"} <= wallet


def test_no_rule_that_has_a_word_on_a_pattern_is_left_out_of_it(app: FastAPI) -> None:
    import random

    house: House = app.state.house
    shop, today = house.shop, house.clock.today()
    judges = shop.judges(today)
    told = {pattern.code: rules_for(shop, pattern) for pattern in shop.catalog.patterns.values()}
    seen: set[tuple[str, str]] = set()
    for spec in sample_specs(shop.catalog, random.Random("applies"), today, 600):
        piece = shop.piece(spec)
        if piece.pattern is not None:
            case = find_best(piece, judges, shop.warehouse, today).case
            seen |= {(piece.pattern.code, rule.id) for rule, _, said in judges.words_on(case) if said is not None}
    assert [(pattern, rule) for pattern, rule in sorted(seen) if rule not in told[pattern]] == []
    assert len(seen) > 500
    left_out = {(code, rule) for code, rules in told.items() for rule in shop.book.rules if rule not in rules}
    assert len(left_out) > 100


@pytest.mark.parametrize(
    ("query", "status", "said"),
    [
        ("pattern=twofoldd", 404, "did you mean 'twofold'"),
        ("pattern=zzzz", 404, "there are twofold, longfold"),
        ("family=fold", 404, "did you mean 'folds'"),
        ("stage=cutting", 422, "one of 'check', 'quote', 'cut', 'pack' or 'catalog'"),
        ("severity=warn", 422, "one of 'refuse', 'sign_off', 'advise' or 'notice'"),
        ("families=folds", 422, "query/families"),
    ],
)
def test_a_slip_in_a_filter_is_a_problem_that_says_what_would_do(
    client: TestClient, query: str, status: int, said: str
) -> None:
    answer = client.get(f"/v1/rules?{query}")
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert said in answer.text


def test_a_filtered_list_is_known_by_its_tag(client: TestClient) -> None:
    first = client.get("/v1/rules?pattern=lead&severity=refuse")
    again = client.get("/v1/rules?pattern=lead&severity=refuse", headers={"if-none-match": first.headers["etag"]})
    assert again.status_code == 304
    assert client.get("/v1/rules?pattern=belt").headers["etag"] != first.headers["etag"]


def limits(client: TestClient, rule: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get(f"/v1/rules/{rule}").json()["limits"]
    return found


def test_a_limit_shows_its_figure_its_name_and_its_source(client: TestClient) -> None:
    (limit,) = limits(client, "LAW-06")
    assert (limit["measured"], limit["bound"], limit["limit"]) == (
        "size of the smallest piece of hardware", "above", "31.7 mm",
    )  # fmt: skip
    (figure,) = limit["figures"]
    assert (figure["threshold"], figure["figure"], figure["unit"]) == ("small_part_mm", 31.7, "mm")
    assert figure["source"] == "16 CFR 1501, from memory"
    (seam,) = limits(client, "STK-01")
    assert seam["figures"] == [
        {"of": "catalog", "says": "the seam's limit: the pattern's own figure", "figure": None, "unit": "mm",
         "threshold": None, "source": None}
    ]  # fmt: skip
    worst = limits(client, "FLD-01")[1]
    assert [each["threshold"] for each in worst["figures"]] == [None, "fold_refuse_factor"]
    assert limits(client, "FIT-09")[0]["limit"] == "700 mm to 1400 mm"


def test_a_limit_from_a_table_shows_the_figure_of_each_row_with_what_the_row_asks(client: TestClient) -> None:
    (limit,) = limits(client, "H-FOLD-RADIUS")
    assert limit["limit"] == "what the table 'least inner radius for what is folded' gives"
    stiff = "the leather outside of the fold is stiff"
    assert [(each["of"], each["says"], each["figure"], each["unit"]) for each in limit["figures"]] == [
        ("table", f"where not ({stiff})", 0.2, "mm"),
        ("table", f"where {stiff} and thickness folded is at most 1 mm", 0.3, "mm"),
        ("table", f"where {stiff} and thickness folded is more than 1 mm and at most 2 mm", 0.5, "mm"),
        ("table", f"where {stiff} and thickness folded is more than 2 mm", 1.2, "mm"),
    ]
    page = html.unescape(client.get("/v1/rule-sheet?family=house").text)
    assert (
        "inner radius of the fold: at least what the table 'least inner radius for what is folded' gives, else" in page
    )
    assert "least least" not in page


def test_a_law_rule_shows_its_dated_rows_and_no_other_rule_does(client: TestClient) -> None:
    (row,) = client.get("/v1/rules/LAW-01").json()["law_rows"]
    assert (row["code"], row["destination"], row["checked_on"], row["review_by"]) == (
        "LR-01", "US-CA", "2026-02-16", "2026-08-31",
    )  # fmt: skip
    for rule in client.get("/v1/rules").json()["items"]:
        assert bool(rule["law_rows"]) <= rule["id"].startswith("LAW-")


def test_the_rule_about_the_margin_is_read_by_the_owner_alone(
    anyone: TestClient, by_class: dict[str, dict[str, str]]
) -> None:
    for name, sees in (("page", False), ("staff", False), ("owner", True)):
        assert ("PRC-01" in ids(anyone, **by_class[name])) is sees
        assert ("PRC-01" in ids(anyone, "?family=price", **by_class[name])) is sees
        assert anyone.get("/v1/rules/prc-01", headers=by_class[name]).status_code == (200 if sees else 404)
    assert "PRC-01" not in anyone.get("/v1/rule-sheet", headers=by_class["staff"]).text
    assert "PRC-01" in anyone.get("/v1/rule-sheet", headers=by_class["owner"]).text


def test_the_sheet_holds_every_rule_with_sentence_source_and_severity_as_word_and_shape(client: TestClient) -> None:
    page = client.get("/v1/rule-sheet")
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    rules = client.get("/v1/rules").json()["items"]
    articles = re.findall(r"<article>.*?</article>", page.text, re.DOTALL)
    assert len(articles) == len(rules)
    for article, rule in zip(articles, rules, strict=True):
        text = html.unescape(article)
        assert f"<code>{rule['id']}</code>{rule['says']}" in text
        assert f"Source: {rule['source']}" in text
        for severity in rule["severities"]:
            shape, word, to_customers = SIGNS[severity]
            assert f"{shape} {word}.</span> " in text
            spoken_to = not {"check", "quote"}.isdisjoint(rule["stages"])
            assert (f"{shape} {word}.</span> {to_customers}" in text) == (spoken_to or to_customers == BENCH_TOO)
        for limit in rule["limits"]:
            assert limit["severity"] is None or limit["limit"] in text
    assert len({shape for shape, _, _ in SIGNS.values()}) == len(SIGNS)


def test_each_family_begins_a_page_of_its_own(client: TestClient) -> None:
    page = client.get("/v1/rule-sheet").text
    families = dict.fromkeys(rule["family"] for rule in client.get("/v1/rules").json()["items"])
    assert page.count("<section>") == len(families)
    assert "section { break-after: page; }" in page
    one = client.get("/v1/rule-sheet?family=FOLDS&paper=A5").text
    assert (one.count("<section>"), "size: A5" in one) == (1, True)
    assert re.findall(r"<code>([^<]+)</code>", one) == ids(client, "?family=folds")
    assert client.get("/v1/rule-sheet?family=foldings").status_code == 404
    assert client.get("/v1/rule-sheet?paper=A3").status_code == 422


def test_the_sheet_asks_for_nothing_and_runs_nothing(client: TestClient) -> None:
    page = client.get("/v1/rule-sheet")
    assert (
        re.findall(r"<(?:script|link|img|iframe|object|base)\b|\bon\w+=|src=|href=|url\(|@import|//", page.text) == []
    )
    policy = page.headers["content-security-policy"]
    (style,) = re.findall(r"<style>(.*?)</style>", page.text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}'")


def test_what_the_book_says_is_escaped_on_the_sheet(app: FastAPI) -> None:
    from dataclasses import replace

    shop = app.state.house.shop
    rule = replace(
        shop.book.rules["STK-01"], id="H-<b>", family="<i>house", says="Say <script>alert('x')</script> & no more.",
        tell='"Quoted" <u>words</u>.', source="<img src=x>",
    )  # fmt: skip
    page = sheet(replace(shop, book=replace(shop.book, rules={rule.id: rule})), Caller.OWNER)
    assert re.findall(r"<(?:script|b|i|u|img)\b", page) == []
    assert "Say &lt;script&gt;alert(&#x27;x&#x27;)&lt;/script&gt; &amp; no more." in page
    assert "&quot;Quoted&quot; &lt;u&gt;words&lt;/u&gt;." in page


def test_a_page_key_prints_and_audits_nothing(anyone: TestClient, by_class: dict[str, dict[str, str]]) -> None:
    for path, least in (("/v1/rule-sheet", "staff"), ("/v1/rule-audit", "owner")):
        below = ("page", "server") if least == "staff" else ("page", "server", "staff")
        assert {anyone.get(path, headers=by_class[each]).status_code for each in below} == {403}
        assert anyone.get(path, headers=by_class[least]).status_code in (200, 202)


def test_the_audit_is_kept_for_the_same_files_and_day(anyone: TestClient, by_class: dict[str, dict[str, str]]) -> None:
    seen = []
    while (first := anyone.get("/v1/rule-audit", headers=by_class["owner"])).status_code == 202:
        assert first.headers["retry-after"] == "5"
        seen.append(first.json()["judged"])
    assert seen == sorted(seen)
    assert first.status_code == 200
    found = first.json()
    assert found["as_of"] == "2026-03-02"
    assert found["judged"] >= 200
    assert sum(each["reports"] for each in found["kinds"]) == len(found["reports"]) > 0
    assert {each["rule"] for each in found["catalog"]} == {"STO-11"}
    again = anyone.get("/v1/rule-audit", headers={**by_class["owner"], "if-none-match": first.headers["etag"]})
    assert again.status_code == 304


def test_a_fault_in_the_making_reaches_whoever_waits(house: House) -> None:
    def fails(_: Shop, __: date) -> list[dict[str, Any]]:
        raise ArithmeticError("no such figure")

    made = RuleAudits(lint=fails, specs=8, exact=False).of(house.catalog, house.shop.book, house.clock.today())
    with pytest.raises(ArithmeticError):
        made.result(timeout=120)


def test_what_the_rules_of_the_data_say_stands_beside_the_audit(house: House) -> None:
    audits = RuleAudits(
        lint=lambda shop, _: [{"rule": "H-DATA", "of": shop.catalog.workshop.code}], specs=50, exact=False
    )
    found = json.loads(audits.of(house.catalog, house.shop.book, house.clock.today()).result(timeout=120).body)
    assert found["catalog"] == [{"rule": "H-DATA", "of": house.catalog.workshop.code}]


def test_the_command_says_what_is_accepted_and_ends_well(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["audit-rules"], TODAY) == 0
    out, err = capsys.readouterr()
    assert "accepted  dead_code  leather CE-GRY" in out
    assert "stands by  STK-01" in out
    assert "sleeve: 28080 of 777216 specs can be made, 2628 of them at once" in out
    assert out.splitlines()[-1].startswith("8 accepted, 0 open; ")
    assert err == ""


def test_the_command_fails_where_something_is_not_accepted(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    workshop = tmp_path / "workshop"
    shutil.copytree(DEMO_CATALOG, workshop)
    accept = workshop / "accept.yaml"
    lines = accept.read_text(encoding="utf-8").splitlines(keepends=True)
    accept.write_text("".join(line for line in lines if "CE-GRY" not in line), encoding="utf-8")
    environ = {**TODAY, "QUARTERFOOT_CATALOG": str(workshop)}
    assert main(["audit-rules", "--json", "--search-only"], environ) == 1
    found = json.loads(capsys.readouterr().out)
    assert [report["what"] for report in found["reports"] if report["accepted"] is None] == ["leather CE-GRY"]
    assert found["well"] is False
    accept.write_text("accept: {}\n", encoding="utf-8")
    assert main(["audit-rules"], environ) == 2
    assert "accept.yaml:1:" in capsys.readouterr().err


def test_the_command_writes_the_sheet_that_the_service_serves(
    client: TestClient, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["rule-sheet", "wall.html", "--paper", "A5"], TODAY) == 0
    assert (tmp_path / "wall.html").read_text(encoding="utf-8") == client.get("/v1/rule-sheet?paper=A5").text
    assert main(["rule-sheet", "no/wall.html"], TODAY) == 2
    assert main(["rule-sheet", "wall.html", "--family", "fold"], TODAY) == 2
    assert "did you mean 'folds'" in capsys.readouterr().err
