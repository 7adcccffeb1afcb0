"""Workbooks (XLSX), read by a process of their own."""

from __future__ import annotations

import itertools
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import weakref
from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, datetime
from pathlib import Path
from typing import IO, Any, Final

from api.sheets import child
from api.sheets.model import Cell, Form, Limits, Sheet, SheetError, checked_header
from api.sheets.parcel import DAMAGED
from api.sheets.values import plain

_ROOT: Final = Path(__file__).parents[2]
# -I: neither the caller's variables nor its folder decide what is imported.
_PROGRAM: Final = "import sys; sys.path.insert(0, sys.argv[1]); from api.sheets.child import main; sys.exit(main())"
_KEPT_VARIABLES: Final = ("LD_LIBRARY_PATH", "PATH", "SYSTEMROOT")
_BLOCK: Final = 1 << 16
# The processor's time is what is limited; a machine with much else to do is given this many times as long.
_PATIENCE: Final = 6
_TOO_MUCH: Final = (
    "The workbook takes more {} to read than is given to one: delete what lies far out, send fewer rows at a time, or"
    ' save it as "CSV UTF-8".'
)


class WorkbookSheet(Sheet):
    """The first visible sheet of a workbook.

    All of it is read when it is opened, by another process into a temporary file without a name; ``rows`` reads that
    file. So whatever is wrong comes out at once, and no process is left to anyone who stops reading.

    Args:
        path: The file.
        limits: What it may be at most.

    Raises:
        SheetError: it is no workbook that is read here.
    """

    def __init__(self, path: Path, limits: Limits) -> None:
        self._spool = _Spool()
        _read_into(self._spool.file, path, limits)
        said = json.loads(next(self._spool.lines()))
        self.form = Form("xlsx")
        self.notes = said["notes"]
        self._width: int = said["width"]
        first = next(self._found(), (1, []))[1]
        self.header = checked_header(tuple(plain(cell) for cell in first), limits)

    def rows(self) -> Iterator[tuple[int, list[Cell]]]:
        """See :meth:`Sheet.rows`. Numbers, days and yes or no come as such; None is an empty cell."""
        before = 1
        for number, cells in itertools.islice(self._found(), 1, None):
            for empty in range(before + 1, number):
                yield empty, [None] * self._width
            before = number
            yield number, cells

    def _found(self) -> Iterator[tuple[int, list[Cell]]]:
        """Return the rows that are not empty, the header first."""
        decode, width = json.JSONDecoder(object_hook=_untagged).decode, self._width
        for line in itertools.islice(self._spool.lines(), 1, None):
            for number, cells in decode(line.decode()):
                if len(cells) < width:
                    cells.extend([""] * (width - len(cells)))
                yield number, [None if cell == "" else cell for cell in cells] if "" in cells else cells


class _Spool:
    """A temporary file that several may read at the same time; it ends with its owner."""

    def __init__(self) -> None:
        self.file: IO[bytes] = tempfile.TemporaryFile()  # noqa: SIM115 -- closed by the finalizer
        self._lock = threading.Lock()
        weakref.finalize(self, self.file.close)

    def lines(self) -> Iterator[bytes]:
        """Return the lines, from the first."""
        at, rest = 0, b""
        while block := self._block(at):
            at += len(block)
            *whole, rest = (rest + block).split(b"\n")
            yield from whole

    def _block(self, at: int) -> bytes:
        with self._lock:
            self.file.seek(at)
            return self.file.read(_BLOCK)


def _read_into(out: IO[bytes], path: Path, limits: Limits, program: str = _PROGRAM) -> None:
    """Start the reader and wait for it."""
    command = [sys.executable, "-I", "-c", program, str(_ROOT), json.dumps(asdict(limits))]
    kept = {name: os.environ[name] for name in _KEPT_VARIABLES if name in os.environ}
    with (
        path.open("rb") as file,
        subprocess.Popen(command, stdin=file, stdout=out, stderr=subprocess.PIPE, env=kept) as reader,  # noqa: S603
    ):
        try:
            _, said = reader.communicate(timeout=limits.seconds * _PATIENCE)
        except subprocess.TimeoutExpired:
            raise SheetError(_TOO_MUCH.format("time")) from None
        finally:
            reader.kill()  # nothing where it has ended
    if reader.returncode:
        raise _refusal(reader.returncode, said)


def _refusal(code: int, said: bytes) -> SheetError:
    """Return what is said of a reader that did not come to its end."""
    if code == child.REFUSED:
        reason, row, column = json.loads(said)
        return SheetError(reason, row=row, column=column)
    if code == child.NO_ROOM:
        return SheetError(_TOO_MUCH.format("room"))
    if code == -getattr(signal, "SIGXCPU", 0):
        return SheetError(_TOO_MUCH.format("time"))
    # The system ends whoever takes too much of its memory by a signal; a library that gets no more says so and ends.
    if code in {child.NO_MEMORY, -getattr(signal, "SIGKILL", 0)} or b"memory allocation" in said:
        return SheetError(_TOO_MUCH.format("memory"))
    return SheetError(DAMAGED)


def _untagged(tagged: dict[str, Any]) -> date:
    if child.DAY in tagged:
        return date.fromisoformat(tagged[child.DAY])
    return datetime.fromisoformat(tagged[child.MOMENT])
