"""The rules at the stages after a check: when all is set aside, before the knife, before the parcel, over the data.

A rule speaks at a stage with the clauses that stand there. Facts come in as a :class:`rules.job.Job` or
:class:`rules.job.Data`; what they leave open is not asked. A check (:mod:`rules.evaluate`) knows nothing of this:
of what is kept there, nothing is read or changed here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any, Final

from catalog.model import Lot, Threshold
from rules.book import Book
from rules.case import Case
from rules.defaults import fill_gaps
from rules.evaluate import in_force, reader_of
from rules.findings import said_of
from rules.ir import SEVERITIES, Rule, Stage, names_in
from rules.job import Data, Item, Job, Priced, SeenOn
from rules.judge import Fired, Judge, judge_of
from rules.pricing import priced
from rules.shop import Shop
from rules.sorter import Found
from rules.spec import Spec
from rules.vocabulary import SUBJECTS, limits_by_name

_PLACE: Final = {severity: place for place, severity in enumerate(SEVERITIES)}
_NEVER: Final = SeenOn()


@dataclass(frozen=True, slots=True)
class StageFinding:
    """What a rule says at a stage. ``item``: the number of the item, None where it is about no single one.

    ``id`` is unique among those of one item. It counts what a rule says, so that of a second finding moves up once the
    first is gone. ``reads`` are the names that the rule reads at the stage, for whoever keeps an agreement to it.
    """

    id: str
    item: int | None
    says: str
    reads: frozenset[str]
    said: Any

    def as_json(self) -> dict[str, Any]:
        """Return the finding with the fields of a check's finding, and its item and what its rule says."""
        said = self.said
        return {
            "id": self.id, "rule": said.rule, "severity": said.severity, "item": self.item, "at": list(said.at),
            "subject": dict(said.subject), "measured": said.measured, "limit": said.limit, "bound": said.bound,
            "off_by": said.off_by, "unit": said.unit, "says": self.says, "message": said.message,
            "bench_message": said.bench_message, "params": dict(said.params), "source": said.source,
        }  # fmt: skip


class StageRules:
    """The rules of one stage in force on a day, compiled; without a day all of them."""

    def __init__(self, book: Book, thresholds: Mapping[str, Threshold], stage: Stage, today: date | None) -> None:
        self.stage = stage
        limits = limits_by_name(thresholds)
        self._by_subject: dict[str, list[tuple[Rule, Judge]]] = {}
        for whole in book.rules.values():
            rule = whole.at_stage(stage)
            if rule is not None and (today is None or in_force(rule, today)):
                judge = judge_of(rule, partial(reader_of, limits, subject=rule.subject))
                self._by_subject.setdefault(rule.subject, []).append((rule, judge))

    def of_job(self, job: Job) -> list[StageFinding]:
        """Return what the rules say of a quote or an order, the worst first."""
        return _in_order(self._of_job(job))

    def of_data(self, data: Data) -> list[StageFinding]:
        """Return what the rules say of a workshop's data, the worst first."""
        return _in_order((None, found) for subject in self._by_subject for found in self._fired(subject, data))

    def _of_job(self, job: Job) -> Iterator[tuple[int | None, Found]]:
        for subject in self._by_subject:
            known = SUBJECTS[subject]
            if not known.has_case:
                yield from ((None, found) for found in self._fired(subject, job))
                continue
            for item in job.items:
                listed = item.case if not known.own_facts else item
                yield from ((item.number, found) for found in self._fired(subject, listed))

    def _fired(self, subject: str, facts: Job | Data | Item | Case) -> Iterator[Found]:
        for instance in SUBJECTS[subject].instances(facts):
            for rule, judge in self._by_subject[subject]:
                word = judge(instance)
                if isinstance(word, Fired):
                    yield Found(rule, word, instance)


def _in_order(found: Iterable[tuple[int | None, Found]]) -> list[StageFinding]:
    said = [(item, each.rule, said_of(each)) for item, each in found]
    said.sort(key=lambda each: (_PLACE[each[2].severity], each[0] or 0, each[2].order))
    times: Counter[tuple[int | None, str]] = Counter()
    findings = []
    for item, rule, words in said:
        times[item, rule.id] += 1
        count = times[item, rule.id]
        name = rule.id if count == 1 else f"{rule.id}.{count}"
        findings.append(StageFinding(name, item, rule.says, names_in(rule), words))
    return findings


def stage_rules(shop: Shop, stage: Stage, today: date | None) -> StageRules:
    """Return the rules of a stage, compiled once for a shop and a day."""
    key = stage, today
    found = shop.stages.get(key)
    if found is None:
        if len(shop.stages) >= _MOST_COMPILED:
            shop.stages.clear()  # those of earlier days
        found = shop.stages[key] = StageRules(shop.book, shop.catalog.thresholds, stage, today)
    return found


_MOST_COMPILED: Final = 16


def findings_at(shop: Shop, stage: Stage, job: Job) -> list[StageFinding]:
    """Return what the rules say of a quote or an order at a stage."""
    return stage_rules(shop, stage, job.today).of_job(job)


def case_of(shop: Shop, spec: Spec, lots: Mapping[str, Sequence[str]], today: date, seen: Mapping[str, SeenOn]) -> Case:
    """Return a piece cut from these lots, codes by part; a lot that is no longer there is left out.

    ``seen`` says when lots were measured and counted at the bench, which counts in place of what the catalog says.
    """
    stock = shop.catalog.lots
    given = {
        part: tuple(_with(stock[code], seen.get(code, _NEVER)) for code in codes if code in stock)
        for part, codes in lots.items()
    }
    return Case(shop.piece(spec), given, shop.warehouse, today)


def _with(lot: Lot, seen: SeenOn) -> Lot:
    care = lot.care
    if seen.measured is not None:  # how damp it was is known of the earlier measurement alone
        care = replace(care, measured_on=seen.measured, never_measured=False, measured_damp=None, humidity_percent=None)
    if seen.counted is not None:
        care = replace(care, counted_on=seen.counted)
    return lot if care is lot.care else replace(lot, care=care)


def lint(shop: Shop, today: date | None = None) -> list[dict[str, Any]]:
    """Return what the rules say of a shop's data (stage catalog) as JSON; without a day every rule is held to it."""
    data = Data(shop.catalog, tuple(prices_of(shop)))
    return [found.as_json() for found in stage_rules(shop, "catalog", today).of_data(data)]


def prices_of(shop: Shop) -> Iterator[Priced]:
    """Give the price of every pattern with its defaults, of one piece and at each break for the quantity."""
    quantities = (1, *sorted(each.quantity for each in shop.catalog.price_list.breaks))
    for pattern in shop.catalog.patterns:
        for quantity in quantities:
            spec, _ = fill_gaps(Spec(pattern, quantity=quantity), shop.indexes)
            price = priced(shop.piece(spec))
            if price is not None:
                lines = tuple(amount for _, _, amount in price.shown)
                yield Priced(pattern, quantity, lines, price.each_minor, price.total_minor)
