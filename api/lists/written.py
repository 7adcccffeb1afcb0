"""Specs as rows: the other way round from :func:`api.lists.columns.body_of`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.lists.columns import COLUMNS


def cells_of(body: Mapping[str, Any]) -> dict[str, str | int | float]:
    """Return what stands in a row for a spec's JSON, by column; what the spec does not say has no entry."""
    found = {}
    for name, column in COLUMNS.items():
        value = _at(body, column.path)
        if value is not None and value != []:
            found[name] = _cell(value)
    return found


def _at(body: Mapping[str, Any], path: tuple[str, ...]) -> Any:
    value: Any = body
    for name in path:
        if value is None:
            return None
        value = value.get(name)
    return value


def _cell(value: Any) -> str | int | float:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return " ".join(map(_word, value))
    return value  # type: ignore[no-any-return]  # text or a number, as JSON has it


def _word(value: Any) -> str:
    if isinstance(value, Mapping):  # banknotes, pens and the like
        return value["item"] if value.get("count") is None else f"{value['item']}:{value['count']}"
    return str(value)
