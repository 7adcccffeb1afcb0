"""YAML text to plain values, strictly, with the place of every value.

A workshop's files are written by hand, so the reader is stricter than YAML: nothing is
guessed. Plain scalars follow the YAML 1.2 core schema (https://yaml.org/spec/1.2.2/, chapter
10.3) with the exceptions of :mod:`catalog.scalars`. Besides:

* keys are always text, and no key may stand twice in one mapping;
* anchors, aliases, tags and several documents in a file are refused.

The text is read as a stream of events, so hostile depth or size is refused before it costs
anything. Loading takes linear time.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Protocol

import yaml

from catalog.faults import Fault, Faults, did_you_mean, suggest
from catalog.scalars import resolve

__all__ = [
    "UNREADABLE",
    "Document",
    "Fault",
    "Faults",
    "Unreadable",
    "attempt",
    "did_you_mean",
    "read",
    "suggest",
]

MAX_BYTES: Final = 1_000_000
MAX_DEPTH: Final = 12
MAX_NODES: Final = 60_000
MAX_FAULTS: Final = 100

_NO_ANCHORS = "anchors and aliases (& and *) are not used here; write the value out"

Path = tuple[str | int, ...]
Position = tuple[int, int]

_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# Everything that is not c-printable (YAML 1.2.2, production 1).
_UNPRINTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


class Unreadable:
    """Stands in a document for a value that already has a fault; see :data:`UNREADABLE`."""

    def __repr__(self) -> str:
        """Return a readable name."""
        return "UNREADABLE"


UNREADABLE: Final = Unreadable()


@dataclass(frozen=True, slots=True)
class Document:
    """A file as plain values: dict, list, str, int, Decimal, bool, date and None.

    ``faults`` is empty for a document that :func:`read` returned.
    """

    file: str
    value: Any
    faults: tuple[Fault, ...]
    _values: Mapping[Path, Position]
    _keys: Mapping[Path, Position]

    def position(self, path: Iterable[str | int]) -> Position:
        """Return line and column, from 1, where the value at ``path`` starts.

        A path that the document does not have gives its nearest ancestor's place, so a missing
        field is reported where it should stand.
        """
        return self._nearest(self._values, path)

    def key_position(self, path: Iterable[str | int]) -> Position:
        """Return line and column, from 1, of the key of ``path``; of an item of a list, its own."""
        return self._nearest(self._keys, path)

    def fault(self, path: Iterable[str | int], message: str, *, at_key: bool = False) -> Fault:
        """Return a fault at the value (or the key) of ``path``."""
        line, column = self.key_position(path) if at_key else self.position(path)
        return Fault(self.file, line, column, message)

    @staticmethod
    def _nearest(places: Mapping[Path, Position], path: Iterable[str | int]) -> Position:
        known = tuple(path)
        while known and known not in places:
            known = known[:-1]
        return places.get(known, (1, 1))


def read(text: str, file: str) -> Document:
    """Read one YAML document.

    Args:
        text: the content of the file.
        file: its name, for messages.

    Raises:
        Faults: with every fault found; only a fault of YAML syntax, or one of sheer size, hides
            those after it.
    """
    document = attempt(text, file)
    if document.faults:
        raise Faults(document.faults)
    return document


def attempt(text: str, file: str) -> Document:
    """Read like :func:`read`, but return the faults, with ``UNREADABLE`` in their place."""
    reader = _Reader(file)
    try:
        reader.read_stream(text)
    except _HopelessError:
        pass
    except yaml.MarkedYAMLError as error:
        place = _place(error.problem_mark or error.context_mark)
        reader.faults.append(Fault(file, *place, _syntax_message(error)))
        reader.value = UNREADABLE
    return Document(file, reader.value, tuple(reader.faults), reader.values, reader.keys)


class _Mark(Protocol):
    """What the marks of both parsers have in common."""

    line: int
    column: int


class _HopelessError(Exception):
    """Raised where reading on would be useless or costly."""


class _Reader:
    """Builds values from the parser's events, noting the place of each."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.value: object = UNREADABLE
        self.faults: list[Fault] = []
        self.values: dict[Path, Position] = {}
        self.keys: dict[Path, Position] = {}
        self._nodes = 0
        self._loader: Any = None

    def note(self, place: Position, message: str) -> None:
        """Keep a fault; stop at a number of them that nobody reads to the end."""
        self.faults.append(Fault(self.file, *place, message))
        if len(self.faults) >= MAX_FAULTS:
            raise _HopelessError

    def read_stream(self, text: str) -> None:
        """Read the only document of the text."""
        if len(text.encode(errors="surrogatepass")) > MAX_BYTES:
            self.note((1, 1), "the file is larger than 1 MB; split it or check that it is the right file")
            raise _HopelessError
        if bad := _UNPRINTABLE.search(text):
            self.faults.append(_character_fault(self.file, text, bad.start()))
            raise _HopelessError
        self._loader = _LOADER(text)
        try:
            self._loader.get_event()  # stream start
            if self._loader.check_event(yaml.StreamEndEvent):
                self.value = None
                return
            self._loader.get_event()  # document start
            self.value = self._node((), 1)
            self._loader.get_event()  # document end
            if not self._loader.check_event(yaml.StreamEndEvent):
                place = _place(self._loader.peek_event().start_mark)
                self.note(place, "a second document starts here; a file holds one")
        finally:
            self._loader.dispose()

    def _node(self, path: Path, depth: int) -> object:
        event = self._loader.get_event()
        place = _place(event.start_mark)
        self.values[path] = place
        self.keys.setdefault(path, place)
        self._guard(place, depth)
        if isinstance(event, yaml.AliasEvent):
            self.note(place, _NO_ANCHORS)
            return UNREADABLE
        plain = self._bare(event)
        if isinstance(event, yaml.MappingStartEvent):
            value: object = self._mapping(path, depth)
        elif isinstance(event, yaml.SequenceStartEvent):
            value = self._sequence(path, depth)
        else:
            value = self._scalar(event)
        return value if plain else UNREADABLE

    def _guard(self, place: Position, depth: int) -> None:
        self._nodes += 1
        if depth > MAX_DEPTH:
            self.note(place, f"nested deeper than {MAX_DEPTH} levels")
            raise _HopelessError
        if self._nodes > MAX_NODES:
            self.note(place, f"more than {MAX_NODES} values in one file; split it")
            raise _HopelessError

    def _bare(self, event: yaml.ScalarEvent | yaml.CollectionStartEvent) -> bool:
        if event.anchor is not None:
            self.note(_place(event.start_mark), _NO_ANCHORS)
            return False
        if event.tag is not None:
            self.note(_place(event.start_mark), "tags (!) are not used here; write the plain value")
            return False
        return True

    def _mapping(self, path: Path, depth: int) -> dict[str, object]:
        found: dict[str, object] = {}
        while not self._loader.check_event(yaml.MappingEndEvent):
            key, place = self._key(depth)
            if key in found:
                first = self.keys[(*path, key)][0]
                self.note(place, f"'{key}' is written twice; first at line {first}")
                self._skip(depth + 1)
                continue
            self.keys[(*path, key)] = place
            found[key] = self._node((*path, key), depth + 1)
        self._loader.get_event()
        return found

    def _key(self, depth: int) -> tuple[str, Position]:
        event = self._loader.peek_event()
        place = _place(event.start_mark)
        self._guard(place, depth)
        if not isinstance(event, yaml.ScalarEvent):
            self.note(place, "a key is one word or a quoted text")
            raise _HopelessError
        self._loader.get_event()
        self._bare(event)
        self._refuse_unprintable(event)
        return str(event.value), place

    def _refuse_unprintable(self, event: yaml.ScalarEvent) -> None:
        """Refuse what an escape in a quoted text smuggles past the check of the whole text."""
        if bad := _UNPRINTABLE.search(event.value):
            self.note(_place(event.start_mark), f"the character U+{ord(bad[0]):04X} is not allowed here")

    def _skip(self, depth: int) -> None:
        """Read a value for its faults only, leaving the places of its namesake alone."""
        values, keys = self.values, self.keys
        self.values, self.keys = {}, {}
        try:
            self._node((), depth)
        finally:
            self.values, self.keys = values, keys

    def _sequence(self, path: Path, depth: int) -> list[object]:
        items: list[object] = []
        while not self._loader.check_event(yaml.SequenceEndEvent):
            items.append(self._node((*path, len(items)), depth + 1))
        self._loader.get_event()
        return items

    def _scalar(self, event: yaml.ScalarEvent) -> object:
        self._refuse_unprintable(event)
        if event.style is not None and event.style != "":
            return event.value
        try:
            return resolve(event.value)
        except ValueError as error:
            self.note(_place(event.start_mark), str(error))
            return UNREADABLE


def _place(mark: _Mark | None) -> Position:
    """Return line and column from 1; the parsers count from 0."""
    return (mark.line + 1, mark.column + 1) if mark is not None else (1, 1)


def _syntax_message(error: yaml.MarkedYAMLError) -> str:
    problem = (error.problem or "the text is not YAML").strip()
    return f"{problem} ({error.context.strip()})" if error.context else problem


def _character_fault(file: str, text: str, at: int) -> Fault:
    line, column = text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)
    return Fault(file, line, column, f"the character U+{ord(text[at]):04X} is not allowed here")
