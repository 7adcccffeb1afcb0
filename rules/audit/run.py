"""The whole audit of a shop's book on one day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any, Final

from rules.audit.accepted import accepted_in, with_reasons
from rules.audit.advice import idle_advice
from rules.audit.codes import dead_codes
from rules.audit.covered import Covers, is_defect
from rules.audit.exact import Exact
from rules.audit.guided import agreed_patterns, dead_options, pictures_of
from rules.audit.report import EXHAUSTIVE, ONLY_EXACT, Report
from rules.audit.search import Search, Tell
from rules.audit.surcharges import overlaps
from rules.audit.texts import duplicates, missing_examples, stale_examples, unpinned_limits
from rules.echo import understood
from rules.ir import Rule
from rules.shop import Shop
from rules.spec import Spec
from rules.themes import Draw

#: Random specs that are judged; a code that none of them shows alive is then sought by itself.
SPECS: Final = 4_000


@dataclass(frozen=True, slots=True)
class Audit:
    """What an audit found.

    ``judged``: how many specs; ``unsearched``: rules that are never looked at in a check; ``pictures``: what each
    pattern comes to where it could be gone through whole, as :meth:`rules.audit.guided.Picture.as_json` gives it;
    ``standing_by``: rules that have nothing to do on this catalog because others are stricter, as they may.
    """

    reports: tuple[Report, ...]
    judged: int
    unsearched: tuple[str, ...]
    pictures: tuple[Mapping[str, Any], ...] = ()
    standing_by: tuple[Report, ...] = ()

    @property
    def open(self) -> tuple[Report, ...]:
        """Return the reports that nobody accepted."""
        return tuple(report for report in self.reports if report.reason is None)


def audited(
    shop: Shop,
    today: date,
    draw: Draw,
    *,
    specs: int = SPECS,
    worked: Iterable[Spec] = (),
    further: Iterable[Report] = (),
    tell: Tell = lambda _: None,
    exact: bool = True,
) -> Audit:
    """Audit a shop's rules, catalog and price list.

    Args:
        shop: the shop; its stock counts as it stands, so ask with the figures of the catalog.
        today: the day on which rules and law rows are looked at.
        draw: where chance comes from: the same, the same audit.
        specs: how many random specs to judge.
        worked: specs to judge beside them, such as those of orders worked by hand: what is rare is met there.
        further: reports of others, such as of orders worked by hand; they may be accepted like all.
        tell: called with how many more specs were judged.
        exact: whether to go through every spec of the patterns too, which takes longer than the search.

    Raises:
        Faults: where the accept-list cannot be read.
    """
    accepted = [each for each in accepted_in(shop.catalog.house) if exact or each.kind not in ONLY_EXACT]
    search, listed, shown = Search(shop, today, tell), Exact(shop, today), partial(_shown, shop)
    search.sample(draw, specs, worked)
    pictures = pictures_of(shop, today) if exact else {}
    known = [picture for picture in pictures.values() if picture is not None]
    dead = list(dead_codes(search, listed, shown, pictures))
    looked_at = frozenset(shop.judges(today).rule_ids)
    at_check = [rule for each in shop.book.rules.values() if each.id in looked_at and (rule := each.at_stage("check"))]
    covers = Covers(search) if exact else None
    idle = list(_idle(at_check, search, listed, covers, shown))
    doubles = list(duplicates(shop.book))
    said_twice = {rule for report in doubles for rule in (report.witness or {})["rules"]}
    covered = [] if covers is None else list(covers.reports(at_check, said_twice))
    reports = [
        *dead,
        *agreed_patterns(known),
        *dead_options(known, shop.catalog, shown),
        *idle,
        *doubles,
        *(report for report in covered if is_defect(report, shop.book)),
        *(idle_advice(search, at_check) if exact else ()),
        *overlaps(shop, search.sampled, shown),
        *missing_examples(shop.book),
        *stale_examples(shop.book, shop.catalog),
        *unpinned_limits(shop.book),
        *further,
    ]
    told = tuple(picture.as_json() for picture in known)
    standing_by = tuple(report for report in covered if not is_defect(report, shop.book))
    unsearched = tuple(rule for rule in shop.book.rules if rule not in looked_at)
    return Audit(tuple(with_reasons(reports, accepted)), search.found.judged, unsearched, told, standing_by)


def _idle(
    rules: list[Rule], search: Search, exact: Exact, covers: Covers | None, shown: Any
) -> Iterator[Report]:  # fmt: skip
    """Give the rules that never apply on the catalog, and those that nothing there breaks."""
    quiet = {rule.id: rule for rule in rules if rule.id not in search.found.fired}
    for rule in list(quiet.values()):
        spec = None if covers is None else covers.breaking(rule)
        if spec is not None:
            search.found.fired[rule.id] = spec
            del quiet[rule.id]
    words = {rule_id: exact.word(rule) for rule_id, rule in quiet.items()}
    unsettled = frozenset(rule_id for rule_id, word in words.items() if word is None)
    applying = search.applying(unsettled) if unsettled else {}
    for rule_id, rule in quiet.items():
        word = words[rule_id]
        if word is None:
            yield _sought(rule, applying.get(rule_id), search, exact, shown)
        elif not word[0]:
            says = f"{rule_id} applies to nothing: all that it reads was gone through on every pattern."
            yield Report("never_applies", rule_id, says, EXHAUSTIVE)
        elif not word[1]:
            says = f"Nothing breaks {rule_id}: all that it reads was gone through on every pattern."
            yield Report("cannot_be_broken", rule_id, says, EXHAUSTIVE)


def _sought(rule: Rule, applies: Spec | None, search: Search, exact: Exact, shown: Any) -> Report:
    """Return the report of a rule that no spec broke, where not all that it reads can be gone through."""
    if applies is not None:
        says, witness = f"No spec was found that breaks {rule.id}.", {"spec": shown(applies)}
        return Report("cannot_be_broken", rule.id, says, search.found.proof, witness)
    unmet = exact.unmet(rule)
    if unmet is not None:
        says = f"{rule.id} applies to nothing: its condition on {unmet} is met by nothing in the catalog."
        return Report("never_applies", rule.id, says, EXHAUSTIVE)
    return Report("never_applies", rule.id, f"No spec was found to which {rule.id} applies.", search.found.proof)


def _shown(shop: Shop, spec: Spec) -> Mapping[str, Any]:
    return understood(shop.piece(spec))
