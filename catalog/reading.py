"""One load in progress: the documents, the codes they define, the faults so far."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final, TypeVar

from catalog.fields import Node, Report
from catalog.strict_yaml import Document, did_you_mean

T = TypeVar("T")

# Codes stand in JSON Pointers, in space-separated cells and on labels.
_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}", re.ASCII)

# Where the codes of each noun are written: the file, then the keys down to their mapping.
CODES_AT: Final[Mapping[str, tuple[str, ...]]] = {
    "kind": ("kinds.yaml",),
    "leather": ("leathers.yaml",),
    "lot": ("lots.yaml",),
    "thread": ("threads.yaml",),
    "edge": ("edges.yaml",),
    "hardware": ("hardware.yaml",),
    "typeface": ("typefaces.yaml",),
    "foil": ("foils.yaml",),
    "pattern": ("patterns.yaml",),
    "modification": ("modifications.yaml",),
    "use": ("law.yaml", "uses"),
    "claim": ("law.yaml", "claims"),
}


@dataclass(slots=True)
class Reading:
    """What the readers of one load share.

    ``digits`` is the number of decimal digits of the workshop's currency.
    """

    documents: Mapping[str, Document]
    report: Report
    digits: int = 2
    _codes: dict[str, dict[str, str] | None] = field(default_factory=dict)

    def root(self, file: str) -> Node:
        """Return the top of a file that is there."""
        document = self.documents[file]
        return Node(document, (), document.value, self.report)

    def codes(self, noun: str) -> Mapping[str, str] | None:
        """Return a noun's codes by their folded form; None where its file cannot be read."""
        if noun not in self._codes:
            self._codes[noun] = self._collect(*CODES_AT[noun])
        return self._codes[noun]

    def reference(self, node: Node, noun: str) -> str:
        """Return the code meant, as its file writes it; note one that no file defines."""
        known = self.codes(noun)
        word = node.text()
        if not word or known is None:
            return word
        found = known.get(word.casefold())
        if found is None:
            node.fault(f"{node.name}: there is no {noun} '{word}'{did_you_mean(word, known.values())}")
        return found or word

    def references(self, node: Node, noun: str) -> tuple[str, ...]:
        """Return a list of codes, each once."""
        return node.distinct(tuple(self.reference(item, noun) for item in node.items()))

    def _collect(self, file: str, *keys: str) -> dict[str, str] | None:
        document = self.documents.get(file)
        value = document.value if document is not None else None
        for key in keys:
            value = value.get(key) if isinstance(value, dict) else None
        if not isinstance(value, dict):
            return None
        return {code.casefold(): code for code in value}


def read_entries(node: Node, build: Callable[[str, Node], T | None]) -> Mapping[str, T]:
    """Return the nouns of a mapping by code, in its order; those with a fault are left out."""
    found: dict[str, T] = {}
    for code, entry in coded(node):
        before = len(node.report)
        noun = build(code, entry)
        if noun is not None and len(node.report) == before:
            found[code] = noun
    return MappingProxyType(found)


def coded(node: Node) -> Iterable[tuple[str, Node]]:
    """Return codes and entries of a mapping, noting odd codes and codes that differ only in case."""
    seen: dict[str, str] = {}
    for code, entry in node.entries():
        folded = code.casefold()
        if not _CODE.fullmatch(code):
            entry.fault(_no_code(code), at_key=True)
        elif folded in seen:
            first = entry.document.key_position((*node.path, seen[folded]))[0]
            entry.fault(
                f"the code '{code}' is used twice: line {first} has '{seen[folded]}'; case does not count",
                at_key=True,
            )
        seen.setdefault(folded, code)
        yield code, entry


def code_text(node: Node) -> str:
    """Return a text that may serve as a code."""
    word = node.text()
    if word and not _CODE.fullmatch(word):
        node.fault(_no_code(word))
    return word


def _no_code(word: str) -> str:
    return f"'{word[:60]}' is no code: letters, digits, '_', '.' and '-', at most 40, no space"


def frozen(node: Node, value: Callable[[Node], T]) -> Mapping[str, T]:
    """Return a mapping of plain values, read-only, in the order of the file."""
    return MappingProxyType({key: value(entry) for key, entry in node.entries()})
