"""Rules on a quote: its findings, what they ask the maker, each rule at its limit and one step past.

Everything goes the way that a caller goes: a quote is made, agreed to and ordered over HTTP.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from support.desk import WALLET, Desk, a_desk
from support.jobs import CLIP, FOB, GOAT, STRAP, UPRIGHT, Workshop, lettered, lot, said

from api.settings import DEMO_CATALOG


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
    quote = small.quote({**WALLET, "note": " \u200b\u00ad\u3164\ufeff\n"})
    assert quote.json()["state"] == "held", "nobody can read what leaves the paper white"
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
    told = said(quote)["MON-11"]
    assert "“A.·B”" in told["message"]
    assert "“A.·B” " in told["bench_message"], "nothing follows that could be taken for a letter"
    assert told["params"]["text"] == "A. B"
    assert "MON-11" not in said(small.quote(WALLET))
    path = f"/v1/quotes/{quote.json()['id']}"
    small.entry(path, "withdraw")
    assert small.post(f"{path}/entries", {"kind": "forget"}).status_code == 201
    left = small.get(path)
    assert "MON-11" not in said(left)
    assert "A.·B" not in left.text
    assert "A. B" not in left.text


def test_a_quote_that_is_over_says_nothing_any_more(small: Desk) -> None:
    spec = {**lettered(WALLET, "AB", "Z-IN-LOW"), "note": "soon"}
    quote = small.quote(spec)
    assert {"PRC-05", "MON-11", "CAT-10", "COL-04"} <= set(said(quote))
    path = f"/v1/quotes/{quote.json()['id']}"
    small.entry(path, "withdraw")
    assert said(small.get(path)) == {}
    assert small.post(f"{path}/entries", {"kind": "forget"}).status_code == 201
    assert said(small.get(path)) == {}


def cut_all(desk: Desk, order: str) -> None:
    for item in desk.get(order).json()["items"]:
        for part, code in sorted({(each["part"], each["lot"]) for each in item["to_cut"]}):
            assert desk.entry(order, "cut", item=item["item"], part=part, lot=code).status_code == 201


def test_a_quote_speaks_on_while_its_order_is_made_and_is_silent_once_that_has_left(small: Desk) -> None:
    quote = small.quote({**UPRIGHT, "quantity": 5}, WALLET).json()["id"]
    order = f"/v1/orders/{small.order(quote).json()['id']}"
    assert {"STO-08", "PRC-05", "PRC-07"} <= set(said(small.get(f"/v1/quotes/{quote}")))
    cut_all(small, order)
    left = said(small.get(f"/v1/quotes/{quote}"))
    assert "STO-08" not in left, "nothing waits to be cut"
    assert {"PRC-05", "PRC-07"} <= set(left)
    assert small.entry(order, "ship").status_code == 201
    assert said(small.get(f"/v1/quotes/{quote}")) == {}


def test_a_quote_is_silent_once_its_order_is_canceled(small: Desk) -> None:
    quote = small.quote(WALLET).json()["id"]
    order = small.order(quote).json()["id"]
    assert "PRC-05" in said(small.get(f"/v1/quotes/{quote}"))
    small.entry(f"/v1/orders/{order}", "cancel")
    assert said(small.get(f"/v1/quotes/{quote}")) == {}


def test_colors_are_guides_and_deposit_and_discount_are_named(workshop: Workshop) -> None:
    desk = workshop()
    wallet, fob = said(desk.quote(WALLET)), said(desk.quote({**UPRIGHT, "quantity": 5}))
    assert "Garnet shell" in wallet["COL-04"]["message"]
    assert "227.50 EUR" in wallet["PRC-05"]["message"]
    assert "PRC-07" not in wallet
    assert fob["PRC-07"]["message"].startswith("You take 5 pieces; ")
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


def test_a_price_is_as_old_as_it_is_though_its_quote_was_held_anew(small: Desk) -> None:
    quote = small.quote(WALLET)
    path = f"/v1/quotes/{quote.json()['id']}"
    small.wait(days=21)
    assert small.get(path).json()["state"] == "lapsed"
    renewed = small.entry(path, "renew")
    assert (renewed.status_code, renewed.json()["valid_until"]) == (201, "2026-03-23")
    assert renewed.json()["items"][0]["check"]["as_of"] == "2026-03-23", "judged anew that day"
    small.wait(days=1)
    old = said(small.get(path))["PRC-06"]
    assert (old["measured"], old["limit"]) == (22, 21)


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


def test_a_storefront_sees_no_lot_and_no_bench_word_in_a_quotes_findings(small: Desk) -> None:
    quote = small.quote(FOB, who="server")
    assert quote.status_code == 201, quote.text
    shown = said(quote)["LAW-14"]
    assert "bench_message" not in shown
    assert shown["subject"] == {}
    assert "L134" not in quote.text
    number = quote.json()["id"]
    assert said(small.get(f"/v1/quotes/{number}", "staff"))["LAW-14"]["subject"] == {"lot": "L134"}


def test_a_quote_of_a_time_when_specs_were_written_otherwise_stays_readable(small: Desk) -> None:
    quote = small.quote({**WALLET, "note": "soon"}, UPRIGHT).json()["id"]
    with small.house.store.write() as write:
        write.connection.exec_driver_sql(
            """UPDATE item SET spec = '{"pattern": "twofold", "lining_color": 7}' WHERE item = 1"""
        )
    left = small.get(f"/v1/quotes/{quote}")
    assert left.status_code == 200
    assert {finding["item"] for finding in left.json()["findings"]} == {None, 2}


#: A rule of the house whose figure grows with every day, and one that asks a table.
HOUSE = """\
tables:
  most_pieces:
    says: most pieces without a word
    unit: count
    inputs: [piece.pattern]
    rows:
      - {piece.pattern: twofold, gives: 2}
    otherwise: 9
rules:
  - id: H-STALE
    each: lot
    stage: quote
    says: A lot is measured anew each day.
    why: The owner wants it so.
    tell: "The maker measures {leather} first."
    source: the owner, 2026-03-02
    limit: lot.measured_ago
    max: 1 days
    severity: sign_off
    examples:
      - fails: {lot.measured_ago: 2 days}
      - passes: {lot.measured_ago: 1 days}
  - id: H-MANY
    each: piece
    says: Many pieces are agreed upon.
    why: The bench is small.
    tell: "{measured} pieces are many; the maker confirms first."
    source: the owner, 2026-03-02
    limit: piece.quantity
    max: table.most_pieces
    severity: sign_off
    examples:
      - fails: {piece.quantity: 3, piece.pattern: twofold}
      - passes: {piece.quantity: 2}
"""


def own_rules(folder: Path, text: str = HOUSE) -> None:
    """Give a workshop these rules of its own and no others."""
    for file in [*folder.glob("house-*"), *folder.glob("orders-*")]:
        file.unlink()
    (folder / "house-rules.yaml").write_text(text, encoding="utf-8")


@pytest.fixture
def strict(tmp_path: Path) -> Iterator[tuple[Desk, Path]]:
    folder = tmp_path / "strict"
    copytree(DEMO_CATALOG, folder)
    own_rules(folder)
    with a_desk(f"sqlite:///{tmp_path / 'strict.sqlite3'}", folder) as desk:
        yield desk, folder


def test_an_agreement_to_a_figure_that_grows_each_day_lasts_for_another_day(strict: tuple[Desk, Path]) -> None:
    desk, _ = strict
    quote = desk.quote(WALLET, hold="quote").json()
    assert quote["state"] == "awaiting_sign_off"
    desk.agree(quote["id"])
    desk.wait(days=1)
    assert desk.order(quote["id"]).status_code == 201


def test_an_agreement_ends_with_the_table_that_it_was_asked_by(strict: tuple[Desk, Path]) -> None:
    desk, folder = strict
    quote = desk.quote({**WALLET, "quantity": 3}, hold="quote").json()
    desk.agree(quote["id"])
    own_rules(folder, HOUSE.replace("gives: 2", "gives: 1").replace("piece.quantity: 2", "piece.quantity: 1"))
    draft = desk.post("/v1/edition-drafts", {"folder": True})
    made = desk.post("/v1/editions", {"folder": True}, version=draft.headers["etag"])
    assert made.status_code == 201, made.text
    assert desk.order(quote["id"]).json()["type"] == "/problems/sign-off-missing"
