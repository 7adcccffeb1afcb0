"""The media types in which lists come and go."""

from __future__ import annotations

from typing import Final

from api.body import MEDIA_TYPE

JSON: Final = MEDIA_TYPE
NDJSON: Final = "application/x-ndjson"
#: Both names that are in use for a value a line.
LINES: Final = (NDJSON, "application/jsonl")
FORM: Final = "multipart/form-data"
CSV: Final = "text/csv"
XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def csv_in(charset: str) -> str:
    """Return the media type of a CSV file with a header, RFC 4180, in an encoding."""
    return f"{CSV}; charset={charset}; header=present"
