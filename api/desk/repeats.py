"""An order that repeats an earlier one: what that was cut from, and why it cannot be made again today."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic_core import from_json

from api.desk.rows import items_of, own_row
from api.house import House
from api.store.tables import ORDERS
from rules.spec import CutThen, LotThen, Repeated, Spec


def known(house: House, spec: Spec, client: str | None) -> Spec:
    """Return a spec with what the order that it repeats was cut from, if that is the client's own and was cut.

    ``client`` None: whosever it is. An id that names no such order is kept and means nothing.
    """
    if spec.repeat_of is None:
        return spec
    return replace(spec, repeats=_repeated(house, spec.repeat_of, spec.pattern, client))


def _repeated(house: House, order: str, pattern: str, client: str | None) -> Repeated | None:
    with house.store.read() as connection:
        row = own_row(connection, ORDERS, order, client)
        if row is None:
            return None
        specs = [item["check"]["spec"] for item in items_of(connection, row.id)]
    for own, built in zip(specs, from_json(row.as_built), strict=True):
        if own["pattern"].casefold() == pattern.casefold() and built["cuts"]:
            return Repeated(row.id, _cuts(own["parts"], built["cuts"]))
    return None


def _cuts(parts: Mapping[str, Any], cuts: list[Mapping[str, Any]]) -> dict[str, CutThen]:
    lots: dict[str, dict[str, LotThen]] = {}
    for cut in cuts:
        lots.setdefault(cut["part"], {})[cut["lot"]] = LotThen(cut["lot"], cut["drift_milli"])
    return {
        part: CutThen(parts[part]["leather"], parts[part]["side"], tuple(found.values()))
        for part, found in lots.items()
    }


def with_repeat(answer: Mapping[str, Any], spec: Spec) -> Mapping[str, Any]:
    """Return a verdict that says of a repeat whether its order is known, and why it cannot be repeated today."""
    if spec.repeat_of is None:
        return answer
    because = [finding["message"] for finding in answer["findings"] if finding["severity"] == "refuse"]
    order = None if spec.repeats is None else spec.repeats.order
    return {**answer, "repeat": {"order": order, "not_repeatable_because": because}}
