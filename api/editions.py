"""The shops of editions: files from the store or a folder, read once for each content that they have."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from sqlalchemy import Connection

import rules
from api.store.editions import edition_row, files_of
from api.worked_orders import worked_orders
from catalog.load import content_hash, load_catalog
from catalog.strict_yaml import Fault, Faults
from rules.shop import Shop, open_shop

#: The trade's own rules: part of the program, the same for every edition.
BOOK: Final = Path(rules.__file__).parent / "book"
#: No file of a catalog or a rule book comes near; what is larger is not even read.
_LARGEST_FILE: Final = 4_000_000
#: Shops that are kept open: the one in force, the one before it, and those that are looked at.
_MOST_OPEN: Final = 4


class EditionError(Exception):
    """An edition that this program cannot read; ``faults`` says why."""

    def __init__(self, number: int, faults: Faults) -> None:
        """Keep which, and why."""
        super().__init__(
            f"edition {number}, which is in force, cannot be read by this program:\n{faults}\n"
            "Nothing was changed. Put the files of the folder in force instead: python -m api reload --yes"
        )
        self.number = number
        self.faults = faults


class Editions:
    """Opens shops; safe in threads, which wait for each other, so that no files are read twice."""

    def __init__(self) -> None:
        """Begin with none open."""
        self._lock = threading.Lock()
        self._open: dict[str, Shop] = {}

    def of(self, files: Mapping[str, str]) -> Shop:
        """Return the shop of some files, with their own stock figures; takes about a second where it is new.

        Raises:
            Faults: with every fault found, each with its file, line and column.
        """
        digest = content_hash(files)
        with self._lock:
            found = self._open.pop(digest, None)
            if found is None:
                found = open_shop(load_catalog(files), texts_in(BOOK))
                worked_orders(found.catalog, found.book)  # a fault in them is told now, not when somebody first asks
                while len(self._open) >= _MOST_OPEN:
                    del self._open[next(iter(self._open))]  # the one that was not asked for the longest
            self._open[digest] = found
            return found

    def numbered(self, connection: Connection, number: int) -> Shop:
        """Return the shop of an edition.

        Raises:
            EditionError: this program cannot read it.
        """
        row = edition_row(connection, number)
        assert row is not None, number  # never deleted
        try:
            return replace(self.of(files_of(row)), edition=number)
        except Faults as bad:
            raise EditionError(number, bad) from bad


@dataclass(frozen=True, slots=True)
class Folder:
    """What stands in a folder, in force or not; no ``files`` where they cannot be read, and then ``faults``."""

    files: Mapping[str, str]
    faults: Faults | None = None

    @property
    def content_hash(self) -> str:
        """Return the hash of the files."""
        return content_hash(self.files)


def folder_as_it_stands(folder: Path) -> Folder:
    """Return what stands in a folder."""
    try:
        return Folder(texts_in(folder))
    except Faults as bad:
        return Folder({}, bad)


def texts_in(folder: Path) -> Mapping[str, str]:
    """Return the YAML and CSV files of a folder by name, sorted. Raises Faults where one is no UTF-8 text."""
    texts: dict[str, str] = {}
    faults: list[Fault] = []
    for file in sorted([*folder.glob("*.yaml"), *folder.glob("*.csv")]):
        try:
            with file.open("rb") as opened:
                content = opened.read(_LARGEST_FILE + 1)
            if len(content) > _LARGEST_FILE:
                faults.append(Fault(file.name, 1, 1, f"the file is larger than {_LARGEST_FILE} bytes"))
                continue
            texts[file.name] = content.decode("utf-8").replace("\r\n", "\n")
        except UnicodeDecodeError as bad:
            before = bad.object[: bad.start]
            line, column = before.count(b"\n") + 1, bad.start - before.rfind(b"\n")
            faults.append(Fault(file.name, line, column, f"not UTF-8 text: byte {bad.start} cannot be read"))
        except OSError as bad:
            faults.append(Fault(file.name, 1, 1, f"cannot be read: {bad.strerror}"))
    if faults:
        raise Faults(faults)
    return texts
