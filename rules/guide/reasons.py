"""Why an option is closed, and which choices clash: the rules at work, in their own sentences.

Most options are closed by one rule alone, which is soon found: it stands against every value that the option may mean,
or against every value beside what the other slots are left. What several rules close only together is asked of a SAT
solver, which can leave rules out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from rules.case import Case
from rules.diagram.clash import Choice, at_work, smallest_clashes
from rules.diagram.constraint import Allowed, Bools
from rules.findings import Finding, Said, findings_of, said_of
from rules.guide.judged import REFUSES, Grid, Judged, badness
from rules.guide.situation import Situation
from rules.guide.views import View, left_by, views_beside
from rules.judge import Fired
from rules.sorter import Found
from rules.vocabulary import SUBJECTS

if TYPE_CHECKING:
    from rules.guide.answer import Guidance

#: Sets of choices of the least size that are named.
MOST_CLASHES = 6
#: Combinations that are looked at for the one of which a rule says the least.
MOST_LOOKED_AT = 200


@dataclass(frozen=True, slots=True)
class Clash:
    """Choices that cannot stand together.

    ``choices`` are all smallest sets of pointers, each as the spec names them; ``findings`` are what the rules at work
    in the first of them say, as a check would.
    """

    choices: tuple[tuple[str, ...], ...]
    findings: tuple[Finding, ...]

    @property
    def rules(self) -> tuple[str, ...]:
        """Return the ids of the rules at work."""
        return tuple(dict.fromkeys(finding.rule for finding in self.findings))


def clash_of(guidance: Guidance) -> Clash | None:
    """Return the smallest sets of choices that clash, None where the choices stand together."""
    situation = guidance.situation
    if guidance.possible:
        return None
    never = situation.never(REFUSES)
    speaker = _Speaker(situation)
    if never:
        return Clash(((),), findings_of(speaker.always(never)))
    heard = [each for each in guidance.chosen if each.heard]
    choices = [Choice(each.pointer, each.slot, each.values) for each in heard]
    clauses = situation.clauses(REFUSES)
    found = smallest_clashes(clauses, situation.fits, choices, MOST_CLASHES)
    if not found:
        return None
    first = [each for each in heard if each.pointer in found[0].choices]
    labels = [str(label) for label in found[0].labels]
    said = speaker.told(labels, left_by(situation.domain, first))
    return Clash(tuple(tuple(map(str, each.choices)) for each in found), findings_of(said))


class Reasons:
    """Why options of one guidance are closed."""

    def __init__(self, guidance: Guidance) -> None:
        self._situation = guidance.situation
        self._heard = [each for each in guidance.chosen if each.heard]
        own = self._situation
        self._views = {view.pointer: view for view in views_beside(own.domain, own.views, self._heard)}
        self._speaker = _Speaker(self._situation)
        self._possible = guidance.possible
        self._beside: dict[tuple[int, str], Bools] = {}
        self._at_odds: dict[str, tuple[Finding, ...]] = {}

    def of(self, pointer: str, value: object) -> tuple[Finding, ...]:
        """Return what the rules that close an option say, as a check of a spec with it would; the fewest that do.

        Args:
            pointer: of a slot of the guidance.
            value: of an option of it that is closed.

        Raises:
            LookupError, ValueError: there is no such slot or option.
        """
        view = self._views[pointer]
        at = view.options.index(value)
        situation = self._situation
        never = situation.never(REFUSES)
        if never:
            return findings_of(self._speaker.always(never))
        values = view.of(at) & situation.fits[view.slot]
        whole = self._by_value(view, values)
        if whole is not None:
            return whole
        others = [each for each in self._heard if each.slot != view.slot or not view.answers(each.pointer)]
        left = [one & other for one, other in zip(left_by(situation.domain, others), situation.fits, strict=True)]
        if not self._possible:
            if pointer not in self._at_odds:
                self._at_odds[pointer] = self._of_the_others(left)
            if self._at_odds[pointer]:
                return self._at_odds[pointer]
        return findings_of(self._together(left, view, values))

    def _of_the_others(self, left: Allowed) -> tuple[Finding, ...]:
        """Return what stands between the other choices, whatever is taken here; nothing where they stand together."""
        labels = at_work(self._situation.clauses(REFUSES), left)
        return () if labels is None else findings_of(self._speaker.told([str(label) for label in labels], left))

    def _by_value(self, view: View, values: Bools) -> tuple[Finding, ...] | None:
        """Return what is said of the values of an option whatever else is chosen, None where one of them may stand."""
        own = values & ~self._situation.alive(REFUSES)[view.slot]
        if not values.any() or (own != values).any():
            return None
        found: tuple[Finding, ...] = self._situation.told.get(
            (view.slot, values.tobytes()),
            lambda: findings_of(self._speaker.of_values(_cover(self._situation, view.slot, values), view.slot)),
        )
        return found

    def _together(self, left: Allowed, view: View, values: Bools) -> list[Said]:
        """Return what is said where something is left of each slot that some values do not stand beside."""
        slot = view.slot
        alive = [one & other for one, other in zip(left, self._situation.alive(REFUSES), strict=True)]
        own = alive[slot] & values
        if all(each.any() for each in alive):
            for place, judged in enumerate(self._situation.read.judged):
                if slot in judged.slots and not self._stands(place, judged, view, own, alive):
                    alive[slot] = own
                    said = self._speaker.of_combination(judged, alive)
                    if said:
                        return said
        left[slot] = left[slot] & values
        labels = at_work(self._situation.clauses(REFUSES), left) or ()
        return self._speaker.told([str(label) for label in labels], left)

    def _stands(self, place: int, judged: Judged, view: View, own: Bools, alive: Allowed) -> bool:
        """Whether a rule by itself lets one of some values stand beside what is left of the other slots."""
        key = place, view.pointer
        if key not in self._beside:
            self._beside[key] = judged.possible(view.slot, alive, REFUSES)
        codes = judged.classes[judged.slots.index(view.slot)]
        return bool(self._beside[key][codes[own]].any())


def _cover(situation: Situation, slot: int, values: Bools) -> list[tuple[str, int]]:
    """Return few rules that together stand against every one of some values, the one that closes most first.

    Beside each is the first of the values that it closes.
    """
    closes: dict[str, Bools] = {}
    for row in situation.read.rows:  # a rule has several rows where it is judged part by part
        if row.slot == slot:
            closes[row.rule] = closes.get(row.rule, False) | (row.words >= REFUSES)
    open_still = values.copy()
    found: list[tuple[str, int]] = []
    while open_still.any():
        best = max(closes, key=lambda rule: int((closes[rule] & open_still).sum()), default=None)
        if best is None or not (closes[best] & open_still).any():
            break
        found.append((best, int((closes[best] & values).argmax())))
        open_still &= ~closes[best]
    return found


class _Speaker:
    """Lets rules speak of cases of a situation."""

    def __init__(self, situation: Situation) -> None:
        self._situation = situation
        self._rules = situation.judges.by_id

    def case(self, chosen: Mapping[int, int]) -> Case:
        """Return the case of some values."""
        return self._situation.domain.case(chosen, self._situation.today)

    def said(self, rules: Iterable[str], case: Case, least: int = REFUSES) -> list[Said]:
        """Return what rules say of a case that is at least so bad, the worst of each rule first and alone."""
        found: list[Said] = []
        for each in rules:
            if each not in self._rules:
                continue
            subject, rule, judge = self._rules[each]
            fired = [
                Found(rule, word, instance)
                for instance in SUBJECTS[subject].instances(case)
                if isinstance(word := judge(instance), Fired) and badness(word) >= least
            ]
            found += [said_of(one) for one in fired[:1]]
        return found

    def always(self, rules: Iterable[str]) -> list[Said]:
        """Return what rules say whatever is chosen."""
        return self.said(rules, self.case({}))

    def of_values(self, closed: Iterable[tuple[str, int]], slot: int) -> list[Said]:
        """Return what each of some rules says of a value of a slot that it closes."""
        return [one for rule, value in closed for one in self.said([rule], self.case({slot: value}))]

    def _of(self, rule: str, chosen: Mapping[int, int]) -> list[Said]:
        return self.said([rule], self.case(chosen))

    def of_combination(self, judged: Judged, left: Allowed) -> list[Said]:
        """Return what a rule says of the mildest of what is left of the slots that it reads."""
        options = [_mild(judged, place, left[slot]) for place, slot in enumerate(judged.slots)]
        for at, values in enumerate(product(*options)):
            if at >= MOST_LOOKED_AT:
                break
            chosen = dict(zip(judged.slots, values, strict=True))
            key = judged.rule, judged.slots, values
            said: list[Said] = self._situation.told.get(key, partial(self._of, judged.rule, chosen))
            if said:
                return said
        return []

    def told(self, labels: Sequence[str], left: Allowed) -> list[Said]:
        """Return what rules at work say of a spec that only they stand against."""
        situation = self._situation
        alive = situation.alive(REFUSES)
        narrowed = [slot for slot, own in enumerate(left) if not (own == situation.fits[slot]).all()]
        chosen = {
            slot: int(((left[slot] & alive[slot]) if (left[slot] & alive[slot]).any() else left[slot]).argmax())
            for slot in narrowed
        }
        said = self.said(labels, self.case(chosen))
        if len(said) == len(set(labels)):
            return said
        # What is to match goes on matching: that is no rule, and says nothing itself.
        rules = [label for label in labels if label in self._rules]
        witness = situation.clauses(REFUSES).without(rules).first(left)
        if witness is None:  # others stand in the way too: of any spec at all one of these rules speaks
            witness = tuple(int(own.argmax()) for own in left)
        return self.said(labels, self.case(dict(enumerate(witness)))) or said


def _mild(judged: Judged, place: int, left: Bools) -> list[int]:
    """Return an example of each class that is left of a slot, the least sum first."""
    codes = judged.classes[place]
    seen: dict[int, int] = {}
    for value in np.flatnonzero(left).tolist():
        seen.setdefault(int(codes[value]), value)
    if isinstance(judged, Grid):
        return list(seen.values())
    return [seen[code] for code in sorted(seen, key=lambda code: judged.weight(place, code))]
