"""Faults of files: where each stands, and what was probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing wrong in a file; ``line`` and ``column`` count from 1."""

    file: str
    line: int
    column: int
    message: str

    def __str__(self) -> str:
        """Return ``file:line:column: message``, the form that editors jump to."""
        return f"{self.file}:{self.line}:{self.column}: {self.message}"


class Faults(ValueError):  # noqa: N818 -- it holds them all, and each is a Fault
    """Everything wrong with the files of one load; ``str()`` gives one fault per line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        """Keep the faults in the order given."""
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, self.faults)))


def suggest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word most like ``word``, or None when nothing is near.

    Compares without regard to case; 0.6 is the cut-off that Python's own difflib uses.
    """
    by_folded: dict[str, str] = {}
    for candidate in known:
        by_folded.setdefault(candidate.casefold(), candidate)
    near = difflib.get_close_matches(word.casefold()[:80], by_folded, n=1, cutoff=0.6)
    return by_folded[near[0]] if near else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``; did you mean '...'?`` for a near word, else nothing."""
    near = suggest(word, known)
    return f"; did you mean '{near}'?" if near is not None else ""
