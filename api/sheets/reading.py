"""Opening a file as a sheet, by what it holds and never by its name alone."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from api.sheets.delimited import DelimitedSheet
from api.sheets.model import DEFAULT_LIMITS, Limits, Sheet, SheetError
from api.sheets.workbook import WorkbookSheet

_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")
_SEND: Final = 'save it as a workbook (.xlsx) or as "CSV UTF-8", and send that.'
_OTHERS: Final = {
    b"\xd0\xcf\x11\xe0": "The file is an old workbook (.xls) or one that is locked with a password: open it, take the"
    f" password off, {_SEND}",
    b"%PDF": f"The file is a PDF, not a sheet: open the sheet that it was made from, {_SEND}",
    b"\x1f\x8b": "The file is compressed: send the sheet itself.",
    b"<": f"The file is a page or a document in XML, whatever its name says: open it, {_SEND}",
    b"{\\rtf": f"The file is a text document, not a sheet: {_SEND}",
}


def open_sheet(path: Path, *, limits: Limits = DEFAULT_LIMITS) -> Sheet:
    """Open a file.

    Args:
        path: The file, which must stay where it is while its rows are read.
        limits: What it may be at most.

    Raises:
        SheetError: it is no sheet that is read here, or past the limits.
        OSError: it cannot be opened.
    """
    with path.open("rb") as file:
        head = file.read(8)
    if head.startswith(_ZIP):
        return WorkbookSheet(path, limits)
    for signature, says in _OTHERS.items():
        if head.startswith(signature):
            raise SheetError(says)
    return DelimitedSheet(path, limits)
