"""``POST /v1/rule-comparisons``: what other files would change, over all that is known to be asked for."""

from __future__ import annotations

from fastapi import APIRouter, Response

from api.body import JsonRoute, json_answer
from api.comparing import compared_in, comparison_json
from api.deps import NO_QUERY, HouseDep, KeyDep, ShelfDep, least
from api.drafting import files_meant, read
from api.routes.documented import BODY, problems
from api.schemas.editions import ComparisonIn, ComparisonOut
from api.schemas.spec import to_spec
from api.visibility import Caller

PATH = "/v1/rule-comparisons"
router = APIRouter(tags=["editions"], route_class=JsonRoute, dependencies=[least(Caller.STAFF)])


@router.post(
    PATH,
    operation_id="compareRules",
    summary="Compare files with those in force",
    description=(
        "Stores nothing. Judges specs by the edition in force and by other files, over the stock as it stands: your"
        " specs, each pattern's defaults, stored checks (the newest 2,000 different ones), open quotes and orders, and"
        " a random sample, always the same. Says by rule what newly falls and passes, which severities change, and"
        " which totals and days move. Takes seconds for thousands of specs."
    ),
    response_model=ComparisonOut,
    response_description="What would change.",
    responses=problems("contradiction", "files-unreadable", *BODY),
    dependencies=[NO_QUERY],
)
def compare_rules(body: ComparisonIn, house: HouseDep, shelf: ShelfDep, key: KeyDep) -> Response:
    """Return what other files would change."""
    files, _ = files_meant(house, body.model_dump(include={"files", "folder", "edition"}))
    specs = {name: to_spec(spec) for name, spec in body.specs.items()}
    found = compared_in(house, shelf.plain, read(house, files), sample=body.sample, specs=specs, who=key.caller)
    return json_answer(comparison_json(found, key.caller))
