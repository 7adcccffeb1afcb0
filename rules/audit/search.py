"""Witnesses by search: many specs judged, and what each of them shows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import islice
from typing import Final

from rules.columns import judge_specs
from rules.lots import find_best
from rules.sample import as_repeat, sample_specs
from rules.sample_more import with_more
from rules.shop import Shop
from rules.spec import Spec
from rules.themes import Draw

#: Specs judged at once: between two lots of them others may go on.
AT_ONCE: Final = 2_000
#: Each so many-th spec repeats an earlier order, or says what hardly anybody is asked.
_REPEATS: Final = 10
_SAYS_MORE: Final = 3
#: Specs of a pattern kept that can be made, to try other codes in.
KEPT: Final = 24
#: Specs kept that break a rule, for what they say beside their choices.
BROKE: Final = 12
Tell = Callable[[int], None]
Code = tuple[str, str]
"""A noun and a code of it: ("leather", "SH-BLK")."""


@dataclass(slots=True)
class Found:
    """What specs judged so far have shown.

    ``fired``: for each rule a spec that breaks it; ``broke``: a few that do; ``alone``: the rules without which some
    spec would have had a better outcome; ``alive``: for each code a spec that can be made of it, at once or
    when agreed; ``made``: specs of each pattern that can be made; ``blocked``: for each code the rules that refused
    specs with it, with how many and one of them.
    """

    judged: int = 0
    fired: dict[str, Spec] = field(default_factory=dict)
    broke: dict[str, list[Spec]] = field(default_factory=dict)
    alone: set[str] = field(default_factory=set)
    alive: dict[Code, Spec] = field(default_factory=dict)
    made: dict[str, list[Spec]] = field(default_factory=dict)
    blocked: dict[Code, dict[str, int]] = field(default_factory=dict)
    refused: dict[Code, tuple[int, Spec]] = field(default_factory=dict)

    @property
    def proof(self) -> str:
        """Return how sure a report is that rests on having found nothing."""
        return f"search of {self.judged} specs"


class Search:
    """Judges specs and keeps what they show. ``tell`` is called with how many more were judged."""

    def __init__(self, shop: Shop, today: date, tell: Tell) -> None:
        self.shop = shop
        self.today = today
        self.found = Found()
        self.sampled: list[Spec] = []
        self._tell = tell

    def sample(self, draw: Draw, count: int, worked: Iterable[Spec]) -> None:
        """Judge some specs, and random ones near to what can be made."""
        catalog = self.shop.catalog
        self.sampled += worked
        for place, plain in enumerate(sample_specs(catalog, draw, self.today, count)):
            spec = with_more(plain, catalog, draw) if place % _SAYS_MORE == 0 else plain
            self.sampled.append(as_repeat(spec, catalog, draw) if place % _REPEATS == 0 else spec)
        self.judge(self.sampled)

    def judge(self, specs: Sequence[Spec]) -> None:
        """Judge specs and note what they show."""
        rest = iter(specs)
        while some := list(islice(rest, AT_ONCE)):
            self._judge(some)
            self._tell(len(some))

    def _judge(self, specs: Sequence[Spec]) -> None:
        judged = judge_specs(self.shop, specs, self.today)
        refused, found = judged.refused(), self.found
        for row, spec in enumerate(specs):
            fired = judged.rules_of(row)
            for rule, _ in fired:
                found.fired.setdefault(rule, spec)
                broke = found.broke.setdefault(rule, [])
                if len(broke) < BROKE:
                    broke.append(spec)
            worst = [rule for rule, severity in fired if severity == ("refuse" if refused[row] else "sign_off")]
            if len(worst) == 1:
                found.alone.add(worst[0])
            codes = codes_of(self.shop, spec)
            if not refused[row]:
                for code in codes:
                    found.alive.setdefault(code, spec)
                made = found.made.setdefault(self.shop.indexes.patterns.code(spec.pattern), [])
                if len(made) < KEPT:
                    made.append(spec)
            else:
                self._note_refused(spec, codes, [rule for rule, severity in fired if severity == "refuse"])
        found.judged += len(specs)

    def _note_refused(self, spec: Spec, codes: Sequence[Code], rules: Sequence[str]) -> None:
        for code in codes:
            if code not in self.found.alive:
                counts = self.found.blocked.setdefault(code, {})
                for rule in rules:
                    counts[rule] = counts.get(rule, 0) + 1
                nearest = self.found.refused.get(code)
                if nearest is None or len(rules) < nearest[0]:
                    self.found.refused[code] = len(rules), spec

    def applying(self, rules: frozenset[str]) -> dict[str, Spec]:
        """Return for some rules that nothing broke a spec to which they apply, as far as the sample has one."""
        judges, wanted, found = self.shop.judges(self.today), set(rules), dict[str, Spec]()
        for spec in self.sampled:
            if not wanted:
                break
            case = find_best(self.shop.piece(spec), judges, self.shop.warehouse, self.today).case
            for rule, _, said in judges.words_on(case):
                if said is not None and rule.id in wanted:
                    found[rule.id] = spec
                    wanted.discard(rule.id)
        return found


def codes_of(shop: Shop, spec: Spec) -> list[Code]:
    """Return the codes of the catalog that a spec comes to, each with its noun."""
    return list(dict.fromkeys(_codes(shop, spec)))


def _codes(shop: Shop, spec: Spec) -> Iterator[Code]:
    piece = shop.piece(spec)
    if piece.pattern is None:
        return
    yield "pattern", piece.pattern.code
    yield from (("leather", part.leather.code) for part in piece.parts.values() if part.leather is not None)
    yield from ((noun, chosen.code) for noun, chosen in (("thread", piece.thread), ("edge", piece.edge)) if chosen)
    yield from (("hardware", noun.code) for noun in piece.hardware.values())
    yield from (("modification", code) for code in piece.modifications if code in piece.pattern.modifications)
    if spec.monogram is not None:
        face = shop.indexes.typefaces.find(spec.monogram.typeface)
        foil = shop.indexes.foils.find(spec.monogram.foil)
        yield from ((noun, found.code) for noun, found in (("typeface", face), ("foil", foil)) if found)
