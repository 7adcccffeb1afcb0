"""Taking in a list as it is sent: into a file first, and read from there by one of a few threads."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from fastapi import Request
from pydantic import ValidationError
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from api.body import check_coding, parse
from api.errors import ProblemError, violation_of
from api.lists.asking import JsonSource, Kind, LinesSource, SheetSource, Source
from api.lists.media import FORM, JSON, LINES
from api.schemas.wishlists import NOTHING_SUPPOSED, OVERRIDES, OverridesIn, Specs
from api.sheets.model import SheetError
from api.visibility import Caller

_ACCEPTED: Final = ", ".join((JSON, *LINES, FORM))
_MOST_OVERRIDES: Final = 64 * 1024
#: One JSON value is read as a whole and takes many times its size in memory; lines and sheets are read in passing.
MOST_JSON: Final = 4 << 20


@dataclass(frozen=True, slots=True)
class Saved:
    """A list in a file, as it was sent. ``kind`` None: a sheet, of a kind that is still to be seen."""

    kind: Kind | None
    path: Path
    overrides: str | None = None


@dataclass(frozen=True, slots=True)
class Received:
    """A list that can be read. ``path`` is the file with it."""

    source: Source
    path: Path
    overrides: OverridesIn


async def saved(request: Request, folder: Path) -> Saved:
    """Save a list as it is sent.

    Args:
        request: whose body it is.
        folder: where files may be put until it is answered.

    Raises:
        ProblemError: it is of no kind that is read here.
    """
    media = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if media not in (JSON, *LINES, FORM):
        raise ProblemError("unsupported-media-type", f"send one of {_ACCEPTED}", headers={"accept": _ACCEPTED})
    check_coding(request)
    if media == FORM:
        return await _form(request, folder)
    path = folder / "list"
    with path.open("wb") as out:
        async for chunk in request.stream():
            out.write(chunk)
    return Saved("json" if media == JSON else "ndjson", path)


async def _form(request: Request, folder: Path) -> Saved:
    try:
        form = await request.form(max_files=1, max_fields=1, max_part_size=_MOST_OVERRIDES)
    except HTTPException as bad:
        raise unreadable(f"the form cannot be read: {bad.detail}", "") from None
    try:
        sheet, overrides = _fields_of(form)
        path = folder / "list"
        with path.open("wb") as out:
            while chunk := await sheet.read(1 << 20):
                out.write(chunk)
        return Saved(None, path, overrides)
    finally:
        await form.close()


def _fields_of(form: FormData) -> tuple[UploadFile, str | None]:
    sheet, overrides = form.get("file"), form.get("overrides")
    if not isinstance(sheet, UploadFile):
        raise unreadable("send the sheet as the form's field file", "/file")
    if overrides is not None and not isinstance(overrides, str):
        raise unreadable("overrides is text: JSON", "/overrides")
    if unknown := sorted(set(form) - {"file", "overrides"}):
        raise unreadable(f"the form has no field {unknown[0][:40]!r}; it takes file and overrides", "")
    return sheet, overrides


def opened(sent: Saved, caller: Caller) -> Received:
    """Open a list that was saved. Takes time: not for the event loop.

    Raises:
        ProblemError: it cannot be read at all.
    """
    if sent.kind == "json":
        wanted = specs_in(sent.path)
        return Received(JsonSource(wanted.specs, caller), sent.path, wanted.overrides or NOTHING_SUPPOSED)
    if sent.kind == "ndjson":
        return Received(LinesSource(sent.path, caller), sent.path, NOTHING_SUPPOSED)
    try:
        source = SheetSource(sent.path, caller)
    except SheetError as bad:
        raise unreadable(str(bad), "/file") from None
    return Received(source, sent.path, _overrides(sent.overrides))


def source_of(kind: Kind, path: Path, caller: Caller) -> Source:
    """Open a list that was read before, from a file with it.

    Raises:
        SheetError: it is a sheet and cannot be read at all.
    """
    if kind == "json":
        return JsonSource(specs_in(path).specs, caller)
    return LinesSource(path, caller) if kind == "ndjson" else SheetSource(path, caller)


def specs_in(path: Path) -> Specs:
    """Read a list that came as one JSON value.

    Raises:
        ProblemError: it is too large, no JSON, or no list.
    """
    if path.stat().st_size > MOST_JSON:
        raise ProblemError("body-too-large", f"at most {MOST_JSON} bytes as one JSON value; send more as NDJSON")
    content = path.read_bytes()
    try:
        body: Any = parse(content) if content else _nothing()
        return Specs.model_validate({"specs": body} if isinstance(body, list) else body)
    except json.JSONDecodeError as bad:
        raise ProblemError("unparsable-body", bad.msg) from None
    except ValidationError as bad:
        raise violation_of(bad) from None


def _nothing() -> Any:
    raise json.JSONDecodeError("the body is empty", "", 0)


def unreadable(says: str, pointer: str) -> ProblemError:
    """Return the problem of a list that cannot be read at all."""
    return ProblemError("list-unreadable", says, errors=[{"pointer": pointer, "code": "unreadable", "detail": says}])


def _overrides(text: str | None) -> OverridesIn:
    """Read the overrides of a form. Raises ProblemError where they are none."""
    if text is None or not text.strip():
        return NOTHING_SUPPOSED
    return overrides_in(text.encode("utf-8", "replace"))


def overrides_in(content: bytes) -> OverridesIn:
    """Read overrides.

    Raises:
        ProblemError: they are no JSON, or do not fit the schema.
    """
    try:
        return OVERRIDES.validate_python(parse(content))
    except json.JSONDecodeError as bad:
        raise unreadable(f"overrides is no JSON: {bad.msg}", "/overrides") from None
    except ValidationError as bad:
        raise violation_of(bad, ("body", "overrides")) from None
