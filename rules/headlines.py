"""The headlines of many rows: the first finding of each, put into words once where it says the same."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from rules.block import Block
from rules.brief import Fired, in_order
from rules.cells import Member
from rules.check import judge
from rules.column_rules import fired_by
from rules.evaluate import OUTCOMES, Judges
from rules.findings import Said, all_well, headline_of, shortened
from rules.ir import Severity
from rules.sums import Sums, can_be_summed
from rules.table import Codes, Column
from rules.words import placeholders_in

#: What a sentence may hold that is measured; all else are words of the instance.
_FIGURES: Final = frozenset({"measured", "limit", "off_by"})
_IN_THE_WAY: Mapping[str, Severity] = {"refused": "refuse", "sign_off": "sign_off"}


@dataclass(frozen=True, slots=True)
class Word:
    """What is known of a row by which rules fired on it.

    ``first``: the rule whose finding is the first in order, None where nothing stands in the way. ``is_root``:
    whether that is certain; else a finding that explains it may come before it.
    """

    outcome: str
    fired: tuple[Fired, ...]
    first: Fired | None
    is_root: bool

    @classmethod
    def of(cls, fired: set[Fired], effects: Mapping[str, tuple[str, ...]]) -> Word:
        """Return what is known by the rules that fired; ``effects`` names what may explain each rule's findings."""
        severities = {severity for _, severity in fired}
        outcome = next((each for each in reversed(OUTCOMES) if _IN_THE_WAY.get(each) in severities), OUTCOMES[0])
        # Findings go by severity, then those that nothing explains, then by rule.
        first = min((each for each in fired if each[1] == _IN_THE_WAY.get(outcome)), default=None)
        rules = {rule for rule, _ in fired}
        return cls(outcome, in_order(fired), first, first is None or rules.isdisjoint(effects[first[0]]))


def effects_in(judges: Judges) -> dict[str, tuple[str, ...]]:
    """Return the rules that may explain the findings of each rule."""
    return {rule.id: rule.effect_of for rules in judges.tables.values() for rule, _ in rules}


def headlines_of(block: Block, words: Column) -> Column:
    """Return the headline of each row of a block, its rows with their lots, by the word of each."""
    texts: dict[str, int] = {}
    codes = np.empty(len(block.rows), dtype=np.intp)
    groups: dict[tuple[Fired | None, bool], int] = {}
    group_of = [groups.setdefault((word.first, word.is_root), len(groups)) for word in words.values]
    at = np.array(group_of, dtype=np.intp)[words.codes]
    rows_of = np.split(np.argsort(at, kind="stable"), np.cumsum(np.bincount(at, minlength=len(groups)))[:-1])
    for (first, is_root), rows in zip(groups, rows_of, strict=True):
        if first is None:
            codes[rows] = texts.setdefault(all_well(block.frame.pattern.name), len(texts))
        elif is_root:
            column = _first_findings(block.only(rows), first)
            places = np.array([texts.setdefault(shortened(text), len(texts)) for text in column.values], dtype=np.intp)
            codes[rows] = places[column.codes]
        else:
            codes[rows] = [texts.setdefault(_alone(block, int(row)), len(texts)) for row in rows]
    return Column(tuple(texts), codes)


def _alone(block: Block, row: int) -> str:
    """Return the headline of a row as a check of it alone has it."""
    piece = block.sheet.piece(int(block.rows[row]))
    verdict = judge(block.sheet.shop, piece.spec, block.sheet.today)
    return headline_of(verdict.findings, piece.called)


def _first_findings(block: Block, first: Fired) -> Column:
    """Return the message of the first finding of a rule on each row; it fired on every one."""
    members = block.frame.members_of(first[0])
    columns = [_said(block, member, first) for member in members]
    inverse, rows = block.combined([(column.codes, len(column.values)) for column in columns])
    messages = []
    for row in rows:
        said: list[Said] = [each for column in columns if (each := column.values[column.codes[row]]) is not None]
        messages.append(min(said, key=lambda each: each.order).message)
    return Column(messages, inverse)


def _said(block: Block, member: Member, first: Fired) -> Column:
    """Return what a rule first says on the instances of one member, None where it says nothing."""
    rule = next(rule for rule in member.rules if rule.id == first[0])
    told = {name for clause in rule.clauses for name in placeholders_in(clause.tell or rule.tell)}
    reads = member.subject.told_by(told)
    shown = sorted(facet for facet in member.shown if facet[0] in reads)
    facets = sorted(member.facets.union(shown))
    if can_be_summed(member) and told.isdisjoint(_FIGURES):
        # What it says follows from the clause that fired and from what the words of an instance depend on.
        fired = fired_by(Sums(block), member, rule)
        if not fired:
            return Column([None], np.zeros(len(block.rows), dtype=np.intp))
        columns = [(each.astype(np.intp), int(each.max()) + 1) for each in fired]
        words = [block.facet(facet) for facet in shown]
        inverse, rows = block.combined([*columns, *((each.codes, len(each.numbers)) for each in words)])
        clauses = zip(*(each[rows].tolist() for each in fired), strict=True)
        keys: list[Hashable] = [("by clause", *each) for each in zip(clauses, block.numbers(shown, rows), strict=True)]
    else:
        inverse, rows = block.occurring(facets)
        keys = list(block.numbers(facets, rows))
    found: dict[int, int] = {}
    values: list[Said | None] = []
    codes: Codes = np.empty(len(rows), dtype=np.intp)
    for place, (key, row) in enumerate(zip(keys, rows.tolist(), strict=True)):
        said = member.first_said(*first, key, partial(block.case_at, row, facets))
        if id(said) not in found:
            found[id(said)] = len(values)
            values.append(said)
        codes[place] = found[id(said)]
    return Column(values, codes[inverse])
