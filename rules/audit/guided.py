"""What each pattern comes to, exact: whether it can be made, which options are of no use there, which are forced.

From exact guidance with nothing chosen (:mod:`rules.guide`). An option that the pattern itself offers and that nothing
can be made with is a defect; a leather, a thread or a typeface of the workshop that one pattern has no use for is only
told in its picture, with the rules that close it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np

from catalog.model import Catalog, Pattern
from rules.audit.held import HELD, plain, proof_over, spec_of, specs_in
from rules.audit.report import Report
from rules.diagram.clash import at_work
from rules.diagram.constraint import TooEntangledError
from rules.echo import mm
from rules.guide.answer import CLOSED, Guidance, Guided, Option, guide
from rules.guide.judged import ASKS, REFUSES
from rules.guide.reasons import Reasons
from rules.guide.views import views_of
from rules.shop import Shop
from rules.spec import Spec

#: Views of a monogram, whose options need not all be offered in one pattern.
_METHOD = "/monogram/method"


@dataclass(frozen=True)
class Picture:
    """What a pattern comes to where nothing is chosen yet."""

    pattern: Pattern
    guidance: Guidance = field(repr=False)
    specs: int

    @property
    def void(self) -> bool:
        """Whether no spec of it can be made, the maker's agreement or not."""
        return self.guidance.state == CLOSED

    @property
    def agreed_only(self) -> bool:
        """Whether every spec that can be made needs the maker's agreement."""
        return self.guidance.state == "sign_off"

    @cached_property
    def reasons(self) -> Reasons:
        """Why options are closed."""
        return Reasons(self.guidance)

    def rules_of(self, pointer: str, value: object) -> tuple[str, ...]:
        """Return the rules that close an option, as far as one speaks of it."""
        return tuple(dict.fromkeys(finding.rule for finding in self.reasons.of(pointer, value)))

    def options(self, pointer: str) -> tuple[Option, ...]:
        """Return the options of a slot, none where there is no such slot."""
        return next((slot.options for slot in self.guidance.slots if slot.pointer == pointer), ())

    def usable(self, pointer: str, value: object) -> bool | None:
        """Return whether anything can be made with an option; None where it is no option there."""
        return next((each.state != CLOSED for each in self.options(pointer) if each.value == value), None)

    def spec_with(self, pointer: str = "", value: object = None) -> Spec | None:
        """Return a spec that can be made, with an option where one is named; None where there is none."""
        situation = self.guidance.situation
        allow = list(situation.fits)
        if situation.never(REFUSES):
            return None
        for view in views_of(situation.domain) if pointer else ():
            if view.pointer == pointer:
                allow[view.slot] = allow[view.slot] & view.of(view.options.index(value))
        values = situation.clauses(REFUSES).witness(allow)
        return None if values is None else spec_of(situation, values)

    def in_the_way(self, level: int) -> tuple[str, ...]:
        """Return a smallest set of rules under which nothing is less bad than a level; () where something is."""
        situation = self.guidance.situation
        never = situation.never(level)
        if never:
            return never[:1]
        return tuple(map(str, at_work(situation.clauses(level), situation.fits) or ()))

    def as_json(self) -> dict[str, Any]:
        """Return the picture as JSON carries it: figures, and what is closed with the rules that close it."""
        situation = self.guidance.situation
        every = [np.ones(size, dtype=bool) for size in situation.domain.sizes]
        return {
            "pattern": self.pattern.code,
            "state": self.guidance.state,
            "specs": self.specs,
            "makeable": 0 if self.void else situation.specs(REFUSES).count(every).total,
            "without_agreement": 0 if self.void or self.agreed_only else situation.specs(ASKS).count(every).total,
            "slots": [self._slot(slot) for slot in self.guidance.slots],
        }

    def _slot(self, slot: Guided) -> dict[str, Any]:
        closed = [each.value for each in slot.options if each.state == CLOSED]
        return {
            "slot": slot.pointer,
            "options": len(slot.options),
            "closed": [{"value": each, "rules": list(self.rules_of(slot.pointer, each))} for each in closed],
        }


def pictures_of(shop: Shop, today: date) -> dict[str, Picture | None]:
    """Return what each pattern comes to, by its code; None where it cannot be gone through whole.

    ``shop`` has the catalog's own figures of stock.
    """
    return {code: _picture(shop, pattern, today) for code, pattern in shop.catalog.patterns.items()}


def _picture(shop: Shop, pattern: Pattern, today: date) -> Picture | None:
    try:
        guidance = guide(shop, plain(pattern), today)
    except TooEntangledError:
        return None
    if not guidance.exact:
        return None
    return Picture(pattern, guidance, specs_in(guidance.situation.domain))


def agreed_patterns(pictures: Iterable[Picture]) -> Iterator[Report]:
    """Give the patterns of which nothing can be made without the maker's agreement."""
    for picture in pictures:
        if picture.agreed_only:
            rules = ", ".join(picture.in_the_way(ASKS))
            says = (
                f"Nothing can be made of pattern {picture.pattern.code} without the maker's agreement: {rules}. {HELD}"
            )
            yield Report("agreed_pattern", f"pattern {picture.pattern.code}", says, proof_over(picture.specs))


def dead_options(pictures: Sequence[Picture], catalog: Catalog, shown: Any) -> Iterator[Report]:
    """Give what a pattern offers and nothing can be made with, slot by slot, and slots with one option left of several.

    Patterns of which nothing can be made are left out: that their options are of no use follows.
    """
    for picture in pictures:
        if not picture.void:
            forced = dict(_forced(picture))
            yield from (_told_forced(picture, *each) for each in forced.items())
            for pointer, values in _of_no_use(picture, catalog).items():
                left = {text: rules for text, rules in values.items() if pointer not in forced or "usual" in text}
                if left:
                    yield _told_dead(picture, pointer, left, shown)
    yield from _dead_methods(pictures, catalog)


def _forced(picture: Picture) -> Iterator[tuple[str, tuple[Any, int]]]:
    for view in views_of(picture.guidance.situation.domain):
        options = [each for each in picture.options(view.pointer) if each.value is not None]
        left = [each.value for each in options if each.state != CLOSED]
        if not view.holds and len(options) > 1 and len(left) == 1:
            yield view.pointer, (left[0], len(options))


def _told_forced(picture: Picture, pointer: str, found: tuple[Any, int]) -> Report:
    value, offered = found
    rules = dict.fromkeys(
        rule for each in picture.options(pointer) if each.value is not None and each.state == CLOSED
        for rule in picture.rules_of(pointer, each.value)
    )  # fmt: skip
    says = (
        f"Of {offered} options of {pointer} only {_text(value)} can ever be used in {picture.pattern.code}; "
        f"the others are closed by {', '.join(rules)}. {HELD}"
    )
    return Report("forced_choice", f"{picture.pattern.code} {pointer}", says, proof_over(picture.specs))


def _told_dead(picture: Picture, pointer: str, values: Mapping[str, tuple[str, ...]], shown: Any) -> Report:
    closed = "; ".join(f"{text} ({', '.join(rules)})" if rules else text for text, rules in values.items())
    says = f"{picture.pattern.code} offers what nothing can be made with: {closed}. {HELD}"
    spec = picture.spec_with()
    witness = {"values": {text: list(rules) for text, rules in values.items()}}
    return Report(
        "dead_option", f"{picture.pattern.code} {pointer}", says, proof_over(picture.specs),
        witness if spec is None else {**witness, "spec": shown(spec)},
    )  # fmt: skip


def _of_no_use(picture: Picture, catalog: Catalog) -> dict[str, dict[str, tuple[str, ...]]]:
    """Return what a pattern offers of no use: by slot, in words, with the rules that close it."""
    found: dict[str, dict[str, tuple[str, ...]]] = {}
    for pointer, text, values in _offered(picture.pattern, catalog):
        known = [value for value in values if picture.usable(pointer, value) is not None]
        if any(picture.usable(pointer, value) for value in known) or (values and not known):
            continue
        rules = dict.fromkeys(rule for value in known for rule in picture.rules_of(pointer, value))
        found.setdefault(pointer, {})[text] = tuple(rules)
    return found


def _offered(pattern: Pattern, catalog: Catalog) -> Iterator[tuple[str, str, list[Any]]]:
    """Give what a pattern itself offers: the slot, in words, and the options there of which one must be of use."""
    for finish in pattern.edge_finishes:
        yield "/edge", finish, [edge.code for edge in catalog.edges.values() if edge.finish == finish]
    yield from (("/stitch", stitch, [stitch]) for stitch in pattern.stitches)
    for place, fixing in pattern.fixings.items():
        for kind in fixing.types:
            suiting = [each.code for each in catalog.hardware.values() if each.type == kind]
            yield f"/hardware/{place}", kind, suiting
    for code, size in pattern.sizes.items():
        made = size.offered_um or [um for um in (size.min_um, size.max_um) if um is not None]
        yield from ((f"/sizes/{code}", str(mm(um)), [mm(um)]) for um in made)
    yield from (("/monogram/zone", zone, [zone]) for zone in pattern.zones)
    yield from (("/modifications", code, [code]) for code in pattern.modifications)
    yield from (("/purpose/use", use, [use]) for use in pattern.uses)
    yield from _usual(pattern)


def _usual(pattern: Pattern) -> Iterator[tuple[str, str, list[Any]]]:
    """Give what a pattern is usually made of."""
    for part, leather in pattern.default_parts.items():
        yield f"/parts/{part}", f"{leather} as usual", [{"leather": leather, "side": "grain"}]
    for pointer, code in (("/thread", pattern.default_thread), ("/edge", pattern.default_edge)):
        if code is not None:
            yield pointer, f"{code} as usual", [code]
    for place, code in pattern.default_hardware.items():
        yield f"/hardware/{place}", f"{code} as usual", [code]


def _dead_methods(pictures: Sequence[Picture], catalog: Catalog) -> Iterator[Report]:
    """Give the methods of marking that are of no use in any pattern, while some pattern has a place for a monogram."""
    marking = [picture for picture in pictures if not picture.void and picture.options(_METHOD)]
    methods = dict.fromkeys(method for face in catalog.typefaces.values() for method in face.methods)
    for method in methods if marking and len(pictures) == len(catalog.patterns) else ():
        if not any(picture.usable(_METHOD, method) for picture in marking):
            rules = dict.fromkeys(rule for picture in marking for rule in picture.rules_of(_METHOD, method))
            says = f"No pattern takes a monogram by {method}: {', '.join(rules)}. {HELD}"
            yield Report("dead_option", f"method {method}", says, proof_over(sum(each.specs for each in marking)))


def _text(value: Any) -> str:
    return f"{value['leather']} ({value['side']})" if isinstance(value, dict) else str(value)
