"""Judging long lists in a process of its own, so that nobody who asks a single question waits for them.

The service starts one where a list waits and none is at work; it ends when nothing waits any more. A list
whose worker is gone, for it gave no sign of life, is taken up by the next, from the start: all rows of a list
are judged by one state of the stock, and that may have changed.
"""

from __future__ import annotations

import logging
import os
import secrets
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from pydantic_core import from_json, to_json

from api.errors import ProblemError
from api.house import House
from api.keys import CLASSES
from api.lists.asking import SheetSource
from api.lists.folders import a_folder
from api.lists.handling import Handling, Wanted
from api.lists.keeping import Claim, LostError, claim, is_due, write_out
from api.lists.receiving import source_of
from api.schemas.wishlists import OVERRIDES, to_what_if
from api.settings import Settings, environment_of
from api.sheets.model import SheetError
from api.store.engine import BusyError
from api.store.shelf import stamp
from api.visibility import Caller
from rules.what_if import WhatIfError

#: Rows between two writes at most, and seconds; and rows of a sheet that are judged together, where each is alone.
CHUNK: Final = 500
_LONGEST_CHUNK: Final = 1.0
CHUNK_OF_SHEET: Final = 5_000
#: Seconds between two signs of life.
_BEAT: Final = 5.0
#: Rounds without a worker after one that failed.
_ROUNDS_OF_REST: Final = 10
_LOG = logging.getLogger("quarterfoot")
#: How much a worker gives way to the service (nice).
_NICE: Final = 10
#: How long the best rows of a long list are searched for.
SECONDS: Final = 30.0


class _ToldToStopError(BaseException):
    """The process is to end."""


def give_way() -> None:
    """Let this process come after those that answer single questions; for its whole life."""
    with suppress(OSError, AttributeError):
        os.nice(_NICE)


def work(house: House) -> int:
    """Judge lists until none waits; return how many were taken up."""
    worker, taken = secrets.token_hex(8), 0
    with _told_to_stop():
        while (own := claim(house.store, worker, house.clock.now())) is not None:
            taken += 1
            _attend(house, own)
    return taken


@contextmanager
def _told_to_stop() -> Iterator[None]:
    """Turn the signals to end into an exception, so that what is at hand is given back."""

    def stop(_number: int, _frame: Any) -> None:
        raise _ToldToStopError

    before = {number: signal.signal(number, stop) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield
    except _ToldToStopError:
        pass
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _attend(house: House, own: Claim) -> None:
    """Judge one list; give it back where the process is told to stop."""
    try:
        with a_folder() as folder, _alive(house, own):
            path = folder / "list"
            with house.store.read() as connection:
                write_out(connection, own.row.id, path)
            _judge(house, own, path)
    except (SheetError, WhatIfError, ProblemError) as bad:
        own.fail(str(bad))
    except _ToldToStopError:
        own.give_back()
        raise
    except (LostError, BusyError):  # somebody else's by now, or begun again once the store is free
        pass
    except Exception:  # noqa: BLE001 -- one list must not keep the others waiting
        _LOG.exception("list %s could not be judged", own.row.id)
        own.fail("Something went wrong here, and the fault is ours. Send the list again.")


@contextmanager
def _alive(house: House, own: Claim) -> Iterator[None]:
    """Give signs of life while something takes long."""
    over = threading.Event()

    def beat() -> None:
        while not over.wait(_BEAT):
            with suppress(BusyError, LostError):  # who works on finds out
                own.beat(stamp(house.clock.now()))

    thread = threading.Thread(target=beat, name="beat", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def _judge(house: House, own: Claim, path: Path) -> None:
    row, terms = own.row, from_json(own.row.terms)
    caller = CLASSES[row.key_class]
    source = source_of(row.kind, path, caller)
    wanted = Wanted(
        mode=terms["mode"],
        maximize=terms["maximize"],
        what_if=to_what_if(OVERRIDES.validate_python(terms["overrides"])),
        caller=caller,
        client=None if caller >= Caller.STAFF else row.client,
        seconds=SECONDS,
    )
    handling = Handling(house, house.shop, source, wanted)
    own.begin(handling.judged_by)
    done = 0
    for chunk in _chunks(handling):
        own.put(done, chunk, handling.summary, stamp(house.clock.now()))
        done += len(chunk)
    own.finish(handling.summary, source.notes)


def _chunks(handling: Handling) -> Iterator[list[bytes]]:
    """Give what is said of the rows as JSON: so many at once, or what there is after a second, to be seen to go on."""
    source = handling.source
    if isinstance(source, SheetSource) and handling.mode == "independent":
        for many in handling.chunks(source, CHUNK_OF_SHEET):
            yield [to_json(cells) for cells in many.ours]
        return
    tell = handling.teller.cells if isinstance(source, SheetSource) else handling.teller.line
    chunk, since = list[bytes](), time.monotonic()
    for answered in handling.answered():
        chunk.append(to_json(tell(answered)))
        if len(chunk) >= CHUNK or time.monotonic() - since > _LONGEST_CHUNK:
            yield chunk
            chunk, since = [], time.monotonic()
    if chunk:
        yield chunk


class Workers:
    """Starts a worker where a list waits and none that this process started is at work."""

    def __init__(self, house: House, settings: Settings) -> None:
        """Keep how the service runs; nothing is started yet."""
        self._house = house
        self._settings = settings
        self._process: subprocess.Popen[bytes] | None = None
        self._rest = 0

    def look_after(self) -> None:
        """Start a worker if a list is due; called again and again. After one that failed, not at once."""
        if self._process is not None:
            code = self._process.poll()
            if code is None:
                return
            self._process, self._rest = None, _ROUNDS_OF_REST if code else 0
        if self._rest:
            self._rest -= 1
            return
        with self._house.store.read() as connection:
            due = is_due(connection, self._house.clock.now())
        if due:
            command = [sys.executable, "-m", "api", "work"]
            self._process = subprocess.Popen(command, env=self._environment())  # noqa: S603 -- ourselves

    def _environment(self) -> dict[str, str]:
        """Return the environment in which a worker has the settings, and the day, of this process."""
        settings = self._settings
        today = None if settings.today is None else self._house.clock.today()
        return {**os.environ, **environment_of(replace(settings, today=today))}

    def stop(self) -> None:
        """Tell the worker to stop, and wait for it."""
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(10)
