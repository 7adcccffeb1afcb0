"""Folders for what is at hand: gone when it is done, and swept up where a process died before."""

from __future__ import annotations

import os
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

_PREFIX: Final = "quarterfoot-list-"
_NAMED: Final = re.compile(rf"{_PREFIX}([0-9]+)-.*")
#: Seconds after which a folder may be what a process that died has left.
_OLD: Final = 3600.0


@contextmanager
def a_folder() -> Iterator[Path]:
    """Give a folder that is deleted afterwards, with all that is in it. Its name tells whose it is."""
    folder = Path(tempfile.mkdtemp(prefix=f"{_PREFIX}{os.getpid()}-"))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def sweep() -> int:
    """Delete the folders of processes that are gone; return how many.

    Young ones stay: whose they are may live on another machine that shares this one's folder.
    """
    swept = 0
    for folder in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        named = _NAMED.fullmatch(folder.name)
        if named and not _lives(int(named[1])) and _age(folder) > _OLD:
            shutil.rmtree(folder, ignore_errors=True)
            swept += 1
    return swept


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):  # it is somebody else's
        return True
    return True


def _age(folder: Path) -> float:
    try:
        return time.time() - folder.stat().st_mtime
    except OSError:
        return 0.0
