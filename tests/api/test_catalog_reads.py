"""What the workshop makes and of what: the same names as its files, each document with an ETag."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

from api.published import matches

LISTS = [
    "/v1/patterns", "/v1/kinds", "/v1/leathers", "/v1/threads", "/v1/edges", "/v1/hardware", "/v1/typefaces",
    "/v1/foils", "/v1/carry-items", "/v1/rules",
]  # fmt: skip
DOCUMENTS = [
    *LISTS, "/v1/catalog", "/v1/price-list", "/v1/patterns/twofold", "/v1/leathers/SH-GAR",
    "/v1/leathers?said=oxblood%20shell",
]  # fmt: skip


def items(client: TestClient, path: str) -> dict[str, dict[str, Any]]:
    return {item["code"]: item for item in client.get(path).json()["items"]}


@pytest.mark.parametrize("path", LISTS)
def test_a_list_is_an_object_with_items(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 200
    assert list(answer.json()) == ["items"]


@pytest.mark.parametrize("path", DOCUMENTS)
def test_a_document_is_sent_once_and_then_known_by_its_tag(client: TestClient, path: str) -> None:
    first = client.get(path)
    tag = first.headers["etag"]
    assert tag.startswith('"')
    for known in (tag, f"W/{tag}", f'"other", {tag}', f'W/"a,b" ,  W/{tag}', "*", " * "):
        again = client.get(path, headers={"if-none-match": known})
        assert again.status_code == 304
        assert again.content == b""
        assert again.headers["etag"] == tag
    for unknown in ('"other"', tag.strip('"'), "", '"', f'"{tag}'):
        assert client.get(path, headers={"if-none-match": unknown}).content == first.content


# RFC 9110, 8.8.3.2, table 3: the weak comparison, which If-None-Match uses.
@pytest.mark.parametrize(
    ("one", "other", "same"),
    [('W/"1"', 'W/"1"', True), ('W/"1"', 'W/"2"', False), ('W/"1"', '"1"', True), ('"1"', '"1"', True)],
)
def test_tags_are_compared_weakly(one: str, other: str, same: bool) -> None:
    assert matches(one, other) is same
    assert matches(other, one) is same


@pytest.mark.parametrize("path", DOCUMENTS)
def test_a_document_has_the_same_bytes_twice(client: TestClient, path: str) -> None:
    assert client.get(path).content == client.get(path).content


@pytest.mark.parametrize("path", DOCUMENTS)
def test_head_answers_as_get_without_the_body(client: TestClient, path: str) -> None:
    whole, head = client.get(path), client.head(path)
    assert (head.status_code, head.headers["etag"], head.content) == (200, whole.headers["etag"], b"")


@pytest.mark.parametrize(("path", "code"), [("/v1/leathers/sh-gar", "SH-GAR"), ("/v1/patterns/TwoFold", "twofold")])
def test_codes_are_found_without_regard_to_case_and_shown_as_written(client: TestClient, path: str, code: str) -> None:
    assert client.get(path).json()["code"] == code


@pytest.mark.parametrize(
    "path", ["/v1/leathers/SH-BLAK", "/v1/patterns/twofolds", "/v1/rules/XXX-99", "/v1/lots/L9", "/v1/nothing"]
)
def test_what_is_not_there_is_404(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.json()["type"] == "/problems/not-found"


def test_one_entry_is_the_entry_of_the_list(client: TestClient) -> None:
    assert client.get("/v1/patterns/belt").json() == items(client, "/v1/patterns")["belt"]
    assert client.get("/v1/leathers/GO-BLK").json() == items(client, "/v1/leathers")["GO-BLK"]


def test_figures_stand_as_the_files_have_them(client: TestClient) -> None:
    kind = items(client, "/v1/kinds")["shell_smooth"]
    assert kind["thickness_held_mm"] == {"min": 1.2, "max": 2}
    assert kind["strain_limit"] == {"grain": 0.45, "flesh": 0.4}
    assert (kind["yield"], kind["lot_drift_de00"], kind["price_per_sqft"]) == (0.65, 3.5, "95.00")
    assert items(client, "/v1/threads")["TH-P05-COR"]["left_m"] == 2
    assert items(client, "/v1/edges")["ED-TURN"]["left_ml"] is None
    assert items(client, "/v1/hardware")["HW-SNAP20-BR"]["grip_mm"] == {"min": 1, "max": 2.5}
    assert items(client, "/v1/typefaces")["FA-SER14"]["worn"] == {"Q": 1}
    assert items(client, "/v1/foils")["FO-RED"]["left_m"] == 0
    assert items(client, "/v1/carry-items")["USD"]["height_mm"] == 66.3
    assert items(client, "/v1/leathers")["SH-GAR"]["reserve_dm2"] == 6


def test_a_pattern_shows_its_whole_make(client: TestClient) -> None:
    strap = client.get("/v1/patterns/wstrap").json()
    assert strap["parts"] == ["outside", "lining"]
    assert strap["sizes"]["lug_mm"] == {"offered": [18, 19, 20, 21, 22, 24], "min": None, "max": None, "default": 20}
    lug = {"panels": ["top_long"], "inner_radius_mm": 0.9, "skived_to_mm": 0.6, "daily": False, "across_spine": None}
    assert strap["folds"]["lug"] == lug
    assert strap["hardware"]["buckle"]["types"] == ["watch_buckle"]
    assert strap["panels"]["top_long"]["direction"] == "long"
    lead = client.get("/v1/patterns/lead").json()
    assert lead["load"]["class"] == "bearing"
    assert lead["sizes"]["length_mm"] == {"offered": None, "min": 1200, "max": 1800, "default": 1300}


def test_prices_are_decimal_text_beside_a_currency(client: TestClient) -> None:
    prices = client.get("/v1/price-list").json()
    assert prices["currency"] == "EUR"
    assert prices["base"]["twofold"]["E"] == "435.00"
    assert prices["price_point"] == {"round": "up", "from": "50.00", "step": "5.00", "step_below": "1.00"}
    assert prices["quantity_breaks"][0] == {"from": 5, "percent": 5}


def test_the_catalog_at_a_glance_leads_to_every_list(client: TestClient) -> None:
    glance = client.get("/v1/catalog").json()
    assert glance["revision"] == "R12"
    assert glance["content_hash"].startswith("sha256:")
    assert {client.get(path).status_code for path in glance["links"].values()} == {200}
    assert "labor_per_hour" not in glance["workshop"]
    assert "backlog_minutes" not in glance["workshop"]


def test_what_was_said_ranks_codes_and_maps_nothing(client: TestClient) -> None:
    ranked = client.get("/v1/leathers", params={"said": "oxblood shell"}).json()["items"]
    assert ranked[0]["code"] == "SH-GAR"
    assert ranked[0]["score"] == 100
    assert [each["score"] for each in ranked] == sorted((each["score"] for each in ranked), reverse=True)
    assert client.get("/v1/leathers", params={"said": "zzzzzz"}).json() == {"items": []}


def test_each_rule_of_the_book_can_be_read_by_its_id(client: TestClient) -> None:
    for rule in client.get("/v1/rules").json()["items"]:
        read = client.get(f"/v1/rules/{rule['id'].lower()}").json()
        orders = read.pop("orders")
        assert read == rule
        assert all(order["now"] == order["expect"] for order in orders)
