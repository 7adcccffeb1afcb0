"""Every name that a rule may use: what it means, its type and unit, and what it reads.

A name is ``subject.attribute``. A measure is a plain function of one instance of the subject;
it is registered with what it reads, so that an evaluator knows which answers depend on the
lots, the quantity or the day and which do not. ``piece.*`` names may stand in any rule.
``threshold.*`` names come from the catalog.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from rules.ir import Value

Type = Literal["number", "truth", "word", "words"]
Measure = Callable[[Any], Value]
Measured = TypeVar("Measured", bound=Callable[[Any], Value])

#: What a measure may read. ``lots`` also stands for all that follows from them (thickness,
#: grade, drift); ``stock`` for what supplies are left.
READS = frozenset(
    {
        "pattern", "leather", "side", "lots", "thread", "edge", "stitch", "hardware", "sizes",
        "monogram", "modifications", "carry", "purpose", "quantity", "ship_to", "rush",
        "ready_by", "codes", "stock", "price_list", "law", "labor", "today", "revision",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Term:
    """A name of the vocabulary. ``levels`` lists the words a ``word`` may be, if closed."""

    name: str
    label: str
    type: Type
    unit: str
    reads: frozenset[str]
    measure: Measure
    levels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Subject:
    """What a rule is judged over, and how to list its instances in a case."""

    name: str
    label: str
    instances: Callable[[Any], Iterable[Any]]
    words: tuple[str, ...]


SUBJECTS: dict[str, Subject] = {}
TERMS: dict[str, Term] = {}


def subject(
    name: str, label: str, words: Iterable[str]
) -> Callable[[Callable[[Any], Iterable[Any]]], Callable[[Any], Iterable[Any]]]:
    """Register the function that lists the instances of a subject in a case."""

    def register(instances: Callable[[Any], Iterable[Any]]) -> Callable[[Any], Iterable[Any]]:
        SUBJECTS[name] = Subject(name, label, instances, tuple(words))
        return instances

    return register


def number(name: str, unit: str, label: str, *, reads: Iterable[str]) -> Callable[[Measured], Measured]:
    """Register a measure that gives an exact number in the base units of ``unit``."""
    return _register(name, label, "number", unit, reads)


def truth(name: str, label: str, *, reads: Iterable[str]) -> Callable[[Measured], Measured]:
    """Register a measure that gives true, false or None."""
    return _register(name, label, "truth", "", reads)


def word(name: str, label: str, *, reads: Iterable[str], levels: Iterable[str] = ()) -> Callable[[Measured], Measured]:
    """Register a measure that gives one word."""
    return _register(name, label, "word", "", reads, tuple(levels))


def words(name: str, label: str, *, reads: Iterable[str]) -> Callable[[Measured], Measured]:
    """Register a measure that gives a set of words."""
    return _register(name, label, "words", "", reads)


def _register(
    name: str, label: str, kind: Type, unit: str, reads: Iterable[str], levels: tuple[str, ...] = ()
) -> Callable[[Measured], Measured]:
    read = frozenset(reads)
    if unknown := read - READS:
        raise ValueError(f"{name}: reads {sorted(unknown)}, which is not in READS")
    if name in TERMS:
        raise ValueError(f"{name} is registered twice")

    def register(measure: Measured) -> Measured:
        TERMS[name] = Term(name, label, kind, unit, read, measure, levels)
        return measure

    return register


def known_names(subject_name: str, thresholds: Iterable[str]) -> list[str]:
    """Return the names that a rule over ``subject_name`` may use, sorted."""
    own = (name for name in TERMS if name.partition(".")[0] in (subject_name, "piece"))
    return sorted([*own, *(f"threshold.{name}" for name in thresholds)])
