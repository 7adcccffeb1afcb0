"""``GET /v1/cells/{field}``: one value of a check, for a formula in a sheet."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, Final
from urllib.parse import parse_qsl

from anyio import CapacityLimiter
from fastapi import APIRouter, Request, Response
from fastapi.responses import PlainTextResponse

from api.answering import bare_answer_to
from api.cells import line
from api.deps import HouseDep, KeyDep, ShopDep, least
from api.errors import ProblemError
from api.lists.columns import COLUMNS, RowError, body_of, columns_in, key_of, spec_in
from api.sheets.convention import Convention
from api.sheets.model import Form
from api.visibility import Caller
from catalog.strict_yaml import did_you_mean

router = APIRouter(tags=["cells"], dependencies=[least(Caller.PAGE)])

#: What stands where there is no price or no promise. Not an empty line: some programs take that for a failure.
NONE: Final = "none"
#: What a cell may ask for: how it is found in the answer to a check.
FIELDS: Final[Mapping[str, Callable[[Mapping[str, Any]], str | None]]] = {
    "outcome": lambda answer: answer["outcome"],
    "total": lambda answer: (answer["price"] or {}).get("total"),
    "why": lambda answer: answer["headline"],
    "ready_on": lambda answer: (answer["promise"] or {}).get("ready_on"),
}
#: The columns that a cell may name. Lots are for lists and checks: they are named by whoever plans the bench.
ASKED: Final = {name: column for name, column in COLUMNS.items() if column.least is Caller.PAGE}
#: Cells that are worked out in threads at once; the others wait, until they are told that it takes too long.
_THREADS: Final = CapacityLimiter(4)
#: What may stand under a column: a whole address has to pass whatever stands between.
_LONGEST: Final[Mapping[str, int]] = {name: 2000 if name == "note" else 200 for name in ASKED}
_SHORT: Final = re.compile(r"[a-z0-9_ -]{1,24}")
_GOOD: Final = {"cache-control": "private, max-age=60", "vary": "Authorization"}
# Written by hand, as the query is read: a fault found by the framework would not say what would do.
_FIELD: Final[dict[str, Any]] = {
    "name": "field",
    "in": "path",
    "required": True,
    "description": "Which value.",
    "schema": {"type": "string", "enum": list(FIELDS)},
}
_PARAMETERS: Final[list[dict[str, Any]]] = [
    {
        "name": column.name,
        "in": "query",
        "required": column.name == "pattern",
        "description": column.says,
        "schema": {"type": "string", "maxLength": _LONGEST[column.name]},
        **({"example": column.example} if column.example else {}),
    }
    for column in ASKED.values()
]


@router.get(
    "/v1/cells/{field}",  # noqa: FAST003 -- read by hand, as the query is
    operation_id="readCell",
    summary="Read one value of a check",
    description=(
        "For a formula in a sheet. The spec stands in the query under the names of columns, as in a list, each at most"
        " once; an empty value says nothing. The value is that of POST /v1/checks for the same spec, without logging"
        " the check. `total` is a plain decimal such as 455.00 in the currency of the catalog, `ready_on` an ISO 8601"
        " date, `why` the headline. Where there is no price, or no date, the line is `none`: a sum over a column leaves"
        " text out, while an empty answer looks like a failure to some programs.\n\nWhatever goes wrong is answered"
        " with status 200 by a line that begins with `error: `, since a cell hides every other answer. A value may be"
        " kept for a minute, an error never."
    ),
    response_class=PlainTextResponse,
    response_description="One line of text, without an end of line: the value, `none`, or `error: ` and what is wrong.",
    openapi_extra={"parameters": [_FIELD, *_PARAMETERS]},
)
async def read_cell(request: Request, house: HouseDep, shop: ShopDep, key: KeyDep) -> Response:
    """Return a value as text. What is wrong is raised as a problem, and becomes a line further out."""
    field = request.path_params["field"]
    value_of = FIELDS.get(field)
    if value_of is None:
        near = did_you_mean(field, FIELDS)
        raise ProblemError("not-found", f"there is no such cell{near or ', only ' + ', '.join(FIELDS)}")
    try:
        names, cells = _said(request.scope["query_string"])
        # The decimal mark is found as in a list: by what else stands in the row.
        convention = Convention(Form(), lambda: iter([(1, [*cells])]))
        spec = spec_in(body_of(cells, columns_in(names, Caller.PAGE), convention))
    except RowError as bad:
        raise ProblemError("schema-violation", str(bad)) from None
    answer = await bare_answer_to(house, shop, spec, key=key, threads=_THREADS)
    return PlainTextResponse(line(value_of(answer) or NONE), headers=_GOOD)


def _said(query: bytes) -> tuple[list[str], list[str]]:
    """Return the names of the columns in a query, and what stands under each."""
    try:
        text = query.decode("utf-8")
        pairs = parse_qsl(text, keep_blank_values=True, errors="strict", max_num_fields=len(COLUMNS))
    except UnicodeDecodeError:
        raise ProblemError("schema-violation", "the address is not UTF-8, percent-encoded") from None
    except ValueError:
        raise ProblemError("schema-violation", f"more than {len(COLUMNS)} columns in the address") from None
    names = [key_of(name) for name, _ in pairs]
    for place, name in enumerate(names):
        if name not in ASKED:
            raise ProblemError("schema-violation", _unknown(name))
        if name in names[:place]:
            raise ProblemError("schema-violation", f"{name}: the column is there twice")
        if len(pairs[place][1]) > _LONGEST[name]:
            raise ProblemError("schema-violation", f"{name}: more than {_LONGEST[name]} characters")
    return names, [value for _, value in pairs]


def _unknown(name: str) -> str:
    if name in COLUMNS:
        return f"{name}: a cell names no lots"
    # Only what may be a name is repeated: somebody may have pasted a key here.
    named = f" '{name}'" if _SHORT.fullmatch(name) else ""
    return f"there is no column{named}{did_you_mean(name, ASKED)}"
