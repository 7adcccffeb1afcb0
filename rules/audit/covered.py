"""Rules without which nothing more could be made: covered by others together, by one other, or only by worse words.

A rule is needed where some spec is refused, or sent to the maker, by it alone. Most rules are soon shown needed by a
spec that was judged; for the others a solver is asked for such a spec among all of every pattern
(:mod:`rules.audit.breaking`). A rule that also has milder words is left aside: these may be heard where nothing else
is.

A rule of the house was written for this catalog, so that it is not needed there is a defect, unless it says itself that
it is an effect of one that covers it. Those of the trade are written for any workshop: that one has nothing to do in
this one is told beside the reports.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

from rules.audit.breaking import Answer, answer_of, broken
from rules.audit.held import HELD, SomeRules, facts_of, hangs_on_facts, proof_over, spec_of, specs_in
from rules.audit.report import Report
from rules.audit.search import Search
from rules.book import Book
from rules.diagram.clauses import Clauses
from rules.diagram.constraint import TooEntangledError
from rules.guide.judged import ASKS, BAD, REFUSES
from rules.guide.situation import Situation
from rules.house import FAMILY
from rules.ir import Rule
from rules.spec import Spec

#: Specs that break a rule whose facts are looked at beside a plain order, in each pattern.
_FACTS = 6


class NotReadError(Exception):
    """Not all that rules say can be gone through."""


@dataclass
class _Covered:
    """Where a rule speaks and others stand against all that it does: orders with the level, and which others.

    ``specs``: how many were gone through.
    """

    where: list[tuple[Spec, int]] = field(default_factory=list)
    rules: set[str] = field(default_factory=set)
    specs: int = 0


class Covers:
    """Looks for what stands against all that a rule does."""

    def __init__(self, search: Search) -> None:
        self._search = search
        self._shop = search.shop
        self._today = search.today
        self._books = SomeRules(search.shop, search.today)
        self._rules = frozenset(search.shop.judges(search.today).rule_ids)

    def reports(self, rules: Sequence[Rule], doubles: Collection[str]) -> Iterator[Report]:
        """Give a report of each rule that is not needed; ``doubles`` are known to be said twice and left aside."""
        for rule in rules:
            if rule.id not in self._search.found.alone and rule.id not in doubles and _stands_in_the_way(rule):
                try:
                    report = self._report(rule)
                except NotReadError:
                    continue  # a rule that cannot be gone through is taken to be needed
                if report is not None:
                    yield report

    def breaking(self, rule: Rule) -> Spec | None:
        """Return a spec, its lots named, that breaks a rule; None where none does in a plain order."""
        for pattern in self._shop.catalog.patterns.values():
            try:
                own = self._books.harsh(rule.id, facts_of(pattern))
                for wanted in broken(own, REFUSES):
                    with Clauses(own.domain.sizes, [wanted]) as clauses:
                        values = clauses.witness(own.fits)
                    if values is not None:
                        return spec_of(own, values)
            except TooEntangledError:
                return None
        return None

    def _report(self, rule: Rule) -> Report | None:
        covered = self._covered(rule)
        if covered is None:
            return None
        if levels_of(rule) == [ASKS] and self._stand_against(rule, self._rules - {rule.id}, covered, REFUSES):
            kind, by = "masked_rule", self._few(rule, covered, REFUSES)
            says = f"{rule.id} asks for the maker's agreement only where a refusal by {' or '.join(by)} stands anyway."
        else:
            one = next((each for each in sorted(covered.rules) if self._stand_against(rule, {each}, covered)), None)
            by = (one,) if one is not None else self._few(rule, covered)
            kind = "redundant_rule" if one is None else "subsumed_rule"
            says = f"Whatever {rule.id} stands against, so {'does' if one else 'do together'} {', '.join(by)}."
        hangs = [each for each in (rule.id, *by) if hangs_on_facts(self._shop.book.rules[each])]
        proof = self._search.found.proof if hangs else proof_over(covered.specs)
        more = f" What {', '.join(hangs)} read beside was taken from specs that broke {rule.id}." if hangs else ""
        return Report(kind, rule.id, f"{says}{more} {HELD}", proof, {"rules": [rule.id, *by]})  # type: ignore[arg-type]

    def _covered(self, rule: Rule) -> _Covered | None:
        """Return where others stand against all that a rule does; None where it is needed, or never speaks."""
        found = _Covered()
        for base in self._bases(rule.id):
            own = self._situation({rule.id}, base)
            found.specs += specs_in(own.domain) if base.quantity == 1 else 0
            for level in levels_of(rule):
                answer = self._answer(rule.id, self._rules - {rule.id}, base, level, level)
                if answer.values is not None:
                    return None
                if answer.spoke:
                    found.where.append((base, level))
                    found.rules |= answer.rules
        return found if found.where else None

    def _bases(self, rule: str) -> Iterator[Spec]:
        """Give the orders in which a rule is looked at: with facts of specs that broke it, then plain ones."""
        broke = self._search.found.broke.get(rule, [])
        patterns = self._shop.catalog.patterns.values()
        for pattern in patterns if hangs_on_facts(self._shop.book.rules[rule]) else ():
            own = [spec for spec in broke if self._shop.indexes.patterns.code(spec.pattern) == pattern.code]
            told = [facts_of(pattern, spec) for spec in own[:_FACTS]]
            yield from (each for place, each in enumerate(told) if each not in told[:place])
        yield from map(facts_of, patterns)

    def _stand_against(self, rule: Rule, by: Collection[str], covered: _Covered, theirs: int | None = None) -> bool:
        """Whether some rules stand against all that another does, wherever it speaks."""
        return all(
            self._answer(rule.id, by, base, level, level if theirs is None else theirs).values is None
            for base, level in covered.where
        )

    def _few(self, rule: Rule, covered: _Covered, theirs: int | None = None) -> tuple[str, ...]:
        """Return the rules at work where others stand against all that a rule does; all others if these fail.

        For a rule of the house none of them can be left out.
        """
        found = sorted(covered.rules)
        if not self._stand_against(rule, found, covered, theirs):
            return tuple(sorted(self._rules - {rule.id}))
        for each in list(found) if rule.family == FAMILY else []:
            fewer = [other for other in found if other != each]
            found = fewer if self._stand_against(rule, fewer, covered, theirs) else found
        return tuple(found)

    def _answer(self, rule: str, by: Collection[str], base: Spec, level: int, theirs: int) -> Answer:
        own = self._situation({rule}, base)
        try:
            if not broken(own, level):
                return Answer(spoke=False)
            if by == self._rules - {rule} and not own.read.rows and not own.read.always:
                return answer_of(own, self._situation(self._rules, base), level, theirs, left_out=rule)
            return answer_of(own, self._situation(by, base), level, theirs)
        except TooEntangledError as bad:
            raise NotReadError from bad

    def _situation(self, rules: Collection[str], base: Spec) -> Situation:
        try:
            return self._books.situation(rules, base)
        except TooEntangledError as bad:
            raise NotReadError from bad


def is_defect(report: Report, book: Book) -> bool:
    """Return whether that a rule is not needed is a defect: see the head of this module."""
    rule, by = book.rules[report.what], (report.witness or {})["rules"]
    return rule.family == FAMILY and not set(rule.effect_of) & set(by)


def _stands_in_the_way(rule: Rule) -> bool:
    return bool(rule.severities) and all(each in BAD for each in rule.severities)


def levels_of(rule: Rule) -> list[int]:
    """Return how bad what a rule says may be, the worst first; nothing where it stands in the way of nothing."""
    return sorted({BAD[each] for each in rule.severities if each in BAD}, reverse=True)
