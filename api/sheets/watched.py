"""The bytes of a text file, looked over as they pass."""

from __future__ import annotations

import codecs
import io
from array import array
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

MARK_BAD_BYTES: Final = "sheets.mark-bad-bytes"
BAD_BYTES: Final = "\udfff"
"""What stands where bytes could not be decoded, if they are marked. No decoder gives it for bytes that are in order."""
_BLOCK: Final = 1 << 16


class RowTooLongError(Exception):
    """A row goes on past what a row may be."""


class NulError(Exception):
    """A NUL character passed."""


class Watched(io.RawIOBase):
    """A file whose blocks are looked over as they are read, so that rows need no look of their own.

    Whoever reads sets ``row`` to the row that came out last: while it stays the same, one row is growing.

    Args:
        path: The file.
        skip: Bytes at its start that are passed over.
        wide: Characters have two bytes, and ``skip`` is even.
        row_bytes: What one row may take, give or take a block.
        nul_passes: NUL characters are let through.
    """

    def __init__(self, path: Path, skip: int, *, wide: bool, row_bytes: int, nul_passes: bool) -> None:
        super().__init__()
        self.row = 0
        self._file = path.open("rb", buffering=0)
        self._file.seek(skip)
        self._wide = wide
        self._row_bytes = row_bytes
        self._nul_passes = nul_passes
        self._row_before, self._grown = 0, 0

    def readable(self) -> bool:
        """Return that it is."""
        return True

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        """Read a block.

        Raises:
            NulError: a NUL character is in it.
            RowTooLongError: a row has grown too long.
        """
        size = self._file.readinto(buffer)
        if not self._nul_passes and self._has_nul(bytes(memoryview(buffer)[:size])):
            raise NulError
        self._grown = self._grown + size if self.row == self._row_before else size
        self._row_before = self.row
        if self._grown > self._row_bytes:
            raise RowTooLongError
        return size

    def _has_nul(self, block: bytes) -> bool:
        if not self._wide:
            return b"\0" in block
        # Two zero bytes may belong to two characters; blocks are even, so a character stands at an even place.
        return b"\0\0" in block and 0 in array("H", block[: len(block) & ~1])

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()


def text_of(source: Watched, encoding: str, errors: str = "strict") -> io.TextIOWrapper:
    """Return the text of a source. Lines end at LF alone, so that a bare CR is left for the reader to refuse."""
    return io.TextIOWrapper(io.BufferedReader(source, _BLOCK), encoding, errors, newline="\n")


def _marked(bad: UnicodeError) -> tuple[str, int]:
    """Go on after bytes that cannot be decoded, leaving a mark."""
    if not isinstance(bad, UnicodeDecodeError):
        raise bad
    return BAD_BYTES, bad.end


codecs.register_error(MARK_BAD_BYTES, _marked)
