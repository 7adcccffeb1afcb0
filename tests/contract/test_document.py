"""The OpenAPI document: committed, valid, complete, and nothing in it dangling."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute, iter_route_contexts
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.document import as_text, operations

COMMITTED = Path(__file__).parents[2] / "openapi" / "openapi.json"


@pytest.fixture(scope="session")
def document(app: FastAPI) -> dict[str, Any]:
    return app.openapi()


def nodes(value: Any) -> Iterator[dict[str, Any]]:
    """Yield every object of a JSON value."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from nodes(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from nodes(inner)


def test_the_committed_document_is_the_one_that_the_service_gives(document: dict[str, Any]) -> None:
    # To write it anew: python -m api openapi --write openapi
    assert COMMITTED.read_bytes() == as_text(document).encode()


def test_the_document_is_valid_openapi_3_1(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    assert [str(error) for error in OpenAPIV31SpecValidator(document).iter_errors()] == []


def test_no_reference_dangles_and_no_schema_is_unused(document: dict[str, Any]) -> None:
    used = {node["$ref"] for node in nodes(document) if "$ref" in node}
    known = {f"#/components/schemas/{name}" for name in document["components"]["schemas"]}
    assert used == known


def test_every_route_is_in_the_document(app: FastAPI, document: dict[str, Any]) -> None:
    routed = {
        (context.path, method.lower())
        for context in iter_route_contexts(app.routes)
        if isinstance(context.route, APIRoute) and not context.path.startswith("/docs")
        for method in context.methods or ()
    }
    documented = {(path, method) for path, item in document["paths"].items() for method in item}
    assert routed == documented


def test_every_operation_is_named_told_and_tagged(document: dict[str, Any]) -> None:
    declared = {tag["name"] for tag in document["tags"]}
    names = [operation["operationId"] for operation in operations(document)]
    assert len(set(names)) == len(names)
    assert [name for name in names if not re.fullmatch(r"[a-z]+(?:[A-Z][a-z]+)*", name)] == []
    for operation in operations(document):
        assert operation["summary"]
        assert operation["description"]
        assert len(operation["tags"]) == 1
        assert set(operation["tags"]) <= declared
    assert all(tag["description"] for tag in document["tags"])


def test_every_error_is_documented_as_a_problem(document: dict[str, Any]) -> None:
    for operation in operations(document):
        if operation["operationId"] == "readCell":  # whatever goes wrong is a line of text with status 200
            assert set(operation["responses"]) == {"200"}
            continue
        assert "500" in operation["responses"]
        for status, response in operation["responses"].items():
            assert response["description"]
            if status >= "400":
                assert list(response["content"]) == ["application/problem+json"]


def test_every_field_has_a_description(document: dict[str, Any]) -> None:
    bare = [
        f"{name}.{field}"
        for name, schema in document["components"]["schemas"].items()
        for field, inner in schema.get("properties", {}).items()
        if not inner.get("description")
    ]
    assert bare == []


def test_a_field_in_a_unit_says_so_in_its_name(document: dict[str, Any]) -> None:
    for name, schema in document["components"]["schemas"].items():
        for field, inner in schema.get("properties", {}).items():
            unit = re.search(r"\bin (mm|dm2|ml|kg|m)\b", inner["description"])
            if unit is not None and inner.get("type") == "number" and name != "Span":
                assert field.endswith(f"_{unit[1]}"), f"{name}.{field}"


def test_everything_that_comes_in_is_bounded(document: dict[str, Any]) -> None:
    body = {name: schema for name, schema in document["components"]["schemas"].items() if name.endswith("In")}
    assert "SpecIn" in body
    loose = []
    for name, schema in body.items():
        assert schema["additionalProperties"] is False, name
        for node in nodes(schema["properties"]):
            kind = node.get("type")
            bounded = {
                "string": "maxLength" in node or "enum" in node or "const" in node or node.get("format") == "date",
                "integer": "maximum" in node and "minimum" in node,
                "number": "maximum" in node and "minimum" in node,
                "array": "maxItems" in node,
                "object": "maxProperties" in node or "$ref" in node,
            }
            if isinstance(kind, str) and not bounded.get(kind, True):
                loose.append((name, node))
    assert loose == []
