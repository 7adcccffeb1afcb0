"""The rule book compiled for one day: tables of rules by subject, and what is kept of their words.

Rules that read no lots are judged once for a spec; the others once for each assignment of lots
that the search of :mod:`rules.lots` tries, and then only where a part was just given a lot.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from catalog.model import Threshold
from rules.book import Book
from rules.case import Case
from rules.cells import MOST_KEPT, MOST_WORDS, Bits, Cell, Frame, Member
from rules.facets import Names
from rules.findings import Said, said_of
from rules.ir import SEVERITIES, Rule, Severity, Value
from rules.judge import Fired, Judge, Passed, Reader, judge_of
from rules.lazy import once
from rules.piece import Piece
from rules.sorter import Sorter, Table
from rules.spec import Spec
from rules.stock import Warehouse
from rules.subjects import Instance, Whole
from rules.vocabulary import SUBJECTS, TERMS, limits_by_name

OUTCOMES = ("buildable", "sign_off", "refused")
#: Bits of one word of a row of a table.
WORD = 64


@dataclass(frozen=True, slots=True)
class Rank:
    """How bad a set of findings is: outcome, then different rules by severity. Smaller is better."""

    outcome: int
    refuse: int
    sign_off: int
    advise: int


def rank_of(fired: Iterable[tuple[str, Severity]]) -> Rank:
    """Return the rank of rule ids with the severities they fired with; notices change nothing."""
    rules: dict[Severity, set[str]] = {severity: set() for severity in SEVERITIES}
    for rule, severity in fired:
        rules[severity].add(rule)
    refuse, sign_off, advise = (len(rules[severity]) for severity in SEVERITIES[:3])
    return Rank(2 if refuse else 1 if sign_off else 0, refuse, sign_off, advise)


def order_of(rank: Rank) -> tuple[int, int, int, int]:
    """Return a rank as a sort key."""
    return rank.outcome, rank.refuse, rank.sign_off, rank.advise


class Memory:
    """The words kept so far: frames by pattern and by how parts share leathers. Forgotten as a whole."""

    def __init__(self) -> None:
        self.names = Names()
        self.frames: dict[tuple[str, tuple[int, ...]], Frame] = {}
        self.kept = 0


class Judges:
    """The rule book compiled for one catalog's thresholds and one day.

    ``fired`` are the rules with each severity they may fire with, in the order of their bits.
    """

    def __init__(self, book: Book, thresholds: Mapping[str, Threshold], today: date) -> None:
        self.today = today
        self._limits = limits_by_name(thresholds)
        self.tables: dict[str, Table] = {}
        self.rule_ids: list[str] = []
        self._bits: dict[tuple[str, Severity], Bits] = {}
        for whole in book.rules.values():
            rule = whole.at_stage("check")
            if rule is not None and in_force(rule, today):
                self.rule_ids.append(rule.id)
                judge = judge_of(rule, partial(self.reader, subject=rule.subject))
                self.tables.setdefault(rule.subject, []).append((rule, judge))
                for severity in rule.severities:
                    self._bits[rule.id, severity] = 1 << len(self._bits)
        self.masks = [sum(bit for (_, own), bit in self._bits.items() if own == each) for each in SEVERITIES[:3]]
        self.fired: tuple[tuple[str, Severity], ...] = tuple(self._bits)
        self._made: dict[tuple[str, ...], Sorter] = {}
        self._sorters = {subject: self.sorter(subject, rules) for subject, rules in self.tables.items()}
        self._memory = Memory()

    @once
    def by_id(self) -> Mapping[str, tuple[str, Rule, Judge]]:
        """Each rule by its id, with its subject and its judge."""
        return {rule.id: (subject, rule, judge) for subject, table in self.tables.items() for rule, judge in table}

    def limit(self, name: str) -> Value:
        """Return a ``threshold.*`` name's value."""
        return self._limits[name]

    def reader(self, name: str, *, subject: str) -> Reader:
        """Return a function from an instance of a subject to a name's value."""
        return reader_of(self._limits, name, subject=subject)

    def sorter(self, subject: str, rules: Table) -> Sorter:
        """Return rules over a subject, ready to be judged; the same rules, the same sorter."""
        key = (subject, *(rule.id for rule, _ in rules))
        if key not in self._made:
            self._made[key] = Sorter(rules, partial(self.reader, subject=subject))
        return self._made[key]

    def memory(self) -> Memory:
        """Return what is kept now; full, all is forgotten, and who still works with it keeps it to the end."""
        if self._memory.kept > MOST_KEPT:
            self._memory = Memory()
        return self._memory

    def frame(self, piece: Piece, warehouse: Warehouse, memory: Memory | None = None) -> Frame | None:
        """Return the cells of a piece's pattern in a memory, or None where the pattern is unknown."""
        pattern = piece.pattern
        if pattern is None:
            return None
        memory = memory or self.memory()
        key = (pattern.code, _signature(piece))
        frame = memory.frames.get(key)
        if frame is None:
            blank = Case(Piece(Spec(pattern.code), piece.indexes), {}, warehouse, self.today)
            frame = memory.frames[key] = Frame(blank, key[1], self.tables, memory.names, self.sorter)
        return frame

    def word(self, cell: Cell, key: Any, case: Case) -> Bits:
        """Judge a cell for the first time, and keep its word."""
        hits = cell.judge(case)
        word = self.union((rule.id, fired.severity) for _, _, rule, fired in hits)
        if hits:
            cell.hits[key] = hits  # before the word: another thread that sees the word looks for the hits
        cell.words[key] = word
        self._memory.kept += 1
        return word

    def member_word(self, member: Member, key: Any, case: Case) -> Bits:
        """Judge one member of a cell for the first time, and keep its word."""
        if len(member.words) >= MOST_WORDS:
            member.words.clear()
        word = member.words[key] = self.union((rule.id, fired.severity) for _, _, rule, fired in member.judge(case))
        self._memory.kept += 1
        return word

    def union(self, fired: Iterable[tuple[str, Severity]]) -> Bits:
        """Return the bits of rules with the severities they fired with."""
        word = 0
        for each in fired:
            word |= self._bits[each]
        return word

    def fired_in(self, word: Bits) -> set[tuple[str, Severity]]:
        """Return the rules of a union of words, with their severities."""
        return fired_in(self.fired, word)

    @property
    def words(self) -> int:
        """How many words of 64 bits hold them."""
        return -(-len(self._bits) // WORD) or 1

    def order(self, word: Bits) -> int:
        """Return how bad a union of words is, as a number; smaller is better. See :func:`order_of`."""
        refuse, sign_off, advise = (word & mask for mask in self.masks)
        outcome = 2 if refuse else 1 if sign_off else 0
        return (((outcome << 16 | refuse.bit_count()) << 16) | sign_off.bit_count()) << 16 | advise.bit_count()

    @staticmethod
    def outcome(order: int) -> str:
        """Return the outcome that an order stands for."""
        return OUTCOMES[order >> 48]

    def everything(self, case: Case) -> list[Said]:
        """Judge every rule on every instance of a case, keeping nothing."""
        return [
            said_of(each)
            for subject, rules in self._sorters.items()
            for instance in SUBJECTS[subject].instances(case)
            for each in rules.fired(instance)
        ]

    def words_on(self, case: Case) -> Iterator[tuple[Rule, Instance, Fired | Passed | None]]:
        """Give every rule's word on every instance of a complete case."""
        for subject, rules in self.tables.items():
            for instance in SUBJECTS[subject].instances(case):
                for rule, judge in rules:
                    yield rule, instance, judge(instance)


def reader_of(limits: Mapping[str, Value], name: str, *, subject: str) -> Reader:
    """Return a function from an instance of a subject to a name's value; ``limits``: see :func:`limits_by_name`."""
    if name.startswith("threshold."):
        value = limits[name]
        return lambda _: value
    measure = TERMS[name].measure
    if name.startswith("piece.") and subject != "piece":
        return lambda instance: measure(Whole(instance.case))
    return measure


def fired_in(fired: Sequence[tuple[str, Severity]], word: Bits) -> set[tuple[str, Severity]]:
    """Return those of some rules with their severities, in the order of their bits, that a union of words holds."""
    found = set()
    while word:
        lowest = word & -word
        found.add(fired[lowest.bit_length() - 1])
        word ^= lowest
    return found


def _signature(piece: Piece) -> tuple[int, ...]:
    """Return for each part the place of the first part of the same leather; -1 where it is not known."""
    leathers = [None if part.leather is None else part.leather.code for part in piece.parts.values()]
    return tuple(-1 if leather is None else leathers.index(leather) for leather in leathers)


def in_force(rule: Rule, today: date) -> bool:
    """Whether a rule holds on a day."""
    return (rule.valid_from is None or rule.valid_from <= today) and (
        rule.valid_until is None or today <= rule.valid_until
    )


def value_of(case: Case, name: str) -> Value:
    """Return a ``piece.*`` name's value in a case."""
    measure: Any = TERMS[name].measure
    value: Value = measure(Whole(case))
    return value
