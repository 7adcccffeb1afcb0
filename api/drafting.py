"""From a body or a folder to files that could be in force, and what they would do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from api.desk.editions import Draft, files_in_force, with_changes
from api.editions import Editions, folder_as_it_stands
from api.errors import MAX_ERRORS, ProblemError, contradiction, not_found
from api.house import House
from api.store.editions import edition_in_force
from api.store.shelf import Shelf
from catalog.strict_yaml import Faults
from rules.shop import Shop

_FOLDER_DIFFERS: Final = "The files in the folder are not those in force (edition {number}). To see what they change:"
_COMMAND: Final = "python -m api reload"


def opener(house: House) -> Editions:
    """Return what opens shops for a house."""
    return house.editions or Editions()


def files_meant(house: House, body: Mapping[str, Any]) -> tuple[dict[str, str], int]:
    """Return the files that a body means, and the number of the edition in force.

    Raises:
        ProblemError: it means none or more than one thing, an edition that is not there, or a folder with faults.
    """
    ways = [name for name in ("files", "folder", "edition") if body.get(name) not in (None, False)]
    if len(ways) != 1:
        raise contradiction("/files", "wrong_choice", "one of files, folder and edition", says="say which files")
    with house.store.read() as connection:
        number = edition_in_force(connection)
        files = files_in_force(connection, number)
        if "files" in ways:
            return with_changes(files, body["files"]), number
        if "edition" in ways:
            found = files_in_force(connection, body["edition"])
            if not found:
                raise contradiction("/edition", "not_offered", "the number of an edition that was in force")
            return found, number
    if house.folder is None:
        raise not_found("folder")
    folder = folder_as_it_stands(house.folder)
    if folder.faults is not None:
        raise unreadable(folder.faults)
    return dict(folder.files), number


def drafted(house: House, body: Mapping[str, Any]) -> Draft:
    """Return the files that a body means as a draft of the next edition; takes about a second where they are new.

    Raises:
        ProblemError: as :func:`files_meant`; or the files have faults.
    """
    files, number = files_meant(house, body)
    return Draft(files, read(house, files), number)


def read(house: House, files: Mapping[str, str]) -> Shop:
    """Return the shop of some files. Raises ProblemError with every fault."""
    try:
        return opener(house).of(files)
    except Faults as bad:
        raise unreadable(bad) from bad


def unreadable(bad: Faults) -> ProblemError:
    """Return the error for files with faults."""
    faults = [
        {"file": each.file, "line": each.line, "column": each.column, "message": each.message} for each in bad.faults
    ]
    errors = [
        {
            "pointer": f"/files/{each.file.replace('~', '~0').replace('/', '~1')}"[:120],
            "code": "fault",
            "detail": f"{each.line}:{each.column}: {each.message}",
        }
        for each in bad.faults[:MAX_ERRORS]
    ]
    count = len(faults)
    detail = "one fault" if count == 1 else f"{count} faults"
    return ProblemError("files-unreadable", f"the files have {detail}", errors=errors, members={"faults": faults})


def about_folder(house: House, shelf: Shelf) -> dict[str, Any]:
    """Return whether the folder differs from what is in force, and what to do about it."""
    if house.folder is None or shelf.plain.edition is None:
        return {"differs": False, "says": None}
    folder, number = folder_as_it_stands(house.folder), shelf.plain.edition
    if folder.faults is None and folder.content_hash == shelf.plain.catalog.content_hash:
        return {"differs": False, "says": None}
    return {"differs": True, "says": f"{_FOLDER_DIFFERS.format(number=number)} {_COMMAND}"}
