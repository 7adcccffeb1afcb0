"""The page to read the interface works without the rest of the world."""

from __future__ import annotations

import re

from starlette.testclient import TestClient

EXTERNAL = re.compile(rb"""(?:https?:)?//[a-z0-9-]+(?:\.[a-z0-9-]+)+""", re.IGNORECASE)
LOADED = re.compile(r"""(?:src|href)="([^"]+)"|url: "([^"]+)\"""")


def test_the_page_and_its_script_name_no_other_host(client: TestClient) -> None:
    for path in ("/docs", "/docs/start.js", "/openapi.json"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert EXTERNAL.findall(answer.content) == []


def test_all_that_the_page_loads_is_served_here(client: TestClient) -> None:
    texts = client.get("/docs").text + client.get("/docs/start.js").text
    loaded = ["".join(found) for found in LOADED.findall(texts)]
    assert len(loaded) == 5
    for path in loaded:
        assert path.startswith("data:") or client.get(f"/{path}").status_code == 200


def test_the_style_sheet_loads_nothing_from_elsewhere(client: TestClient) -> None:
    style = client.get("/docs/assets/swagger-ui.css").text
    assert [url for url in re.findall(r"url\(([^)]*)\)", style) if not url.strip("\"'").startswith("data:")] == []


def test_the_browser_is_told_to_load_nothing_from_elsewhere(client: TestClient) -> None:
    policy = client.get("/docs").headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "http" not in policy
