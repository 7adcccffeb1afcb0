"""From fired rules to findings: figures, order, root causes, sentences."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from catalog.units import number_in, text_in
from rules.choice_use import ChoiceUse
from rules.choices import Choice
from rules.ir import SEVERITIES, Bound, Severity
from rules.judge import Fired, Passed
from rules.law_rows import rows_behind, told_with, with_review, with_review_at_bench
from rules.sorter import Found
from rules.vocabulary import TERMS
from rules.words import figure, fill

_HEADLINE = 120
_PLACE = {severity: place for place, severity in enumerate(SEVERITIES)}
Shown = int | float | str | None


@dataclass(slots=True)
class Said:
    """What a rule said of an instance, in words: a finding but for its place among the others.

    Kept for other specs that read and show the same, so nobody changes it. ``choice`` is the
    choice it is about, if it is about one.
    """

    rule: str
    severity: Severity
    effect_of: tuple[str, ...]
    at: tuple[str, ...]
    parts: frozenset[str]
    order: tuple[Any, ...]
    subject: dict[str, Any]
    measured: Shown
    limit: Shown | list[Shown]
    bound: Bound
    off_by: Shown
    unit: str | None
    message: str
    bench_message: str
    params: dict[str, Any]
    source: str
    choice: Choice | None


@dataclass(slots=True)
class Finding:
    """One rule's word on one spec, with its name in the answer and the finding that explains it."""

    id: str
    said: Said
    caused_by: str | None

    @property
    def rule(self) -> str:
        """Id of the rule."""
        return self.said.rule

    @property
    def severity(self) -> Severity:
        """How bad it is."""
        return self.said.severity

    @property
    def at(self) -> tuple[str, ...]:
        """JSON Pointers into the spec."""
        return self.said.at

    @property
    def message(self) -> str:
        """For the customer."""
        return self.said.message

    def as_json(self, remedies: list[dict[str, Any]]) -> dict[str, Any]:
        """Return the finding as the answer writes it."""
        said = self.said
        return {
            "id": self.id, "rule": said.rule, "severity": said.severity, "at": list(said.at),
            "subject": dict(said.subject), "measured": said.measured, "limit": said.limit, "bound": said.bound,
            "off_by": said.off_by, "unit": said.unit, "caused_by": self.caused_by, "message": said.message,
            "bench_message": said.bench_message, "params": dict(said.params), "remedies": remedies,
            "source": said.source,
        }  # fmt: skip


def pointers_of(found: Found) -> tuple[str, ...]:
    """Return the finding's JSON Pointers: ``own`` are the instance's, ``parts`` the parts it depends on."""
    pointers: list[str] = []
    for at in found.rule.clauses[found.fired.clause].at or found.rule.at:
        if at == "own":
            pointers.extend(found.instance.at)
        elif at == "parts":
            pointers.extend(f"/parts/{part}" for part in found.instance.parts)
        elif not at.startswith("/parts/") or at.removeprefix("/parts/") in found.instance.case.piece.parts:
            pointers.append(at)
    return tuple(dict.fromkeys(pointers))


class _Placed:
    """What a rule said, with its cause among the others."""

    __slots__ = ("cause", "said")

    def __init__(self, said: Said) -> None:
        self.said = said
        self.cause: _Placed | None = None

    @property
    def order(self) -> tuple[Any, ...]:
        """Return severity, causes before it, rule id, pointers, subject."""
        return _PLACE[self.said.severity], self.depth, *self.said.order

    @property
    def depth(self) -> int:
        """Return how many causes stand before it; a circle of causes ends where it closes."""
        seen: set[int] = set()
        one: _Placed | None = self
        while one is not None and id(one) not in seen:
            seen.add(id(one))
            one = one.cause
        return len(seen) - 1


def findings_of(said: Iterable[Said]) -> tuple[Finding, ...]:
    """Return findings in the order severity, root before effect, rule id, pointer, subject."""
    placed = [_Placed(each) for each in said]
    for each in placed:
        if each.said.effect_of:
            each.cause = _cause(each, placed)
    placed.sort(key=lambda each: each.order)
    ids = {id(each): f"f{place}" for place, each in enumerate(placed, start=1)}
    return tuple(
        Finding(ids[id(each)], each.said, None if each.cause is None else ids[id(each.cause)]) for each in placed
    )


def _cause(effect: _Placed, placed: list[_Placed]) -> _Placed | None:
    """Return the finding that explains this one: its rule is named, and a choice is shared."""
    named = effect.said.effect_of
    causes = [each for each in placed if each is not effect and each.said.rule in named and _touch(each, effect)]
    return min(causes, key=lambda each: (_PLACE[each.said.severity], *each.said.order), default=None)


def _touch(one: _Placed, other: _Placed) -> bool:
    mine, theirs = one.said, other.said
    return bool(mine.parts & theirs.parts) or any(_under(a, b) or _under(b, a) for a in mine.at for b in theirs.at)


def _under(pointer: str, above: str) -> bool:
    return pointer == above or pointer.startswith(f"{above}/")


def said_of(found: Found) -> Said:
    """Put a rule that fired into words."""
    fired, instance, rule = found.fired, found.instance, found.rule
    at, subject = pointers_of(found), instance.subject
    unit = _unit(fired)
    words, clause = instance.words | _figures_in_words(fired, unit), rule.clauses[fired.clause]
    tell = clause.tell or rule.tell
    bench = clause.bench or (tell if clause.tell else rule.bench or rule.tell)
    rows = rows_behind(rule.id, instance)
    today = instance.case.today if rows else date.min  # without rows nobody asks for the day
    order = rule.id, at, tuple(f"{name}={value}" for name, value in sorted(subject.items()))
    return Said(
        rule=rule.id, severity=fired.severity, effect_of=rule.effect_of, at=at, parts=frozenset(instance.parts),
        order=order, subject=subject, measured=_shown(fired.measured, unit), limit=_limit(fired, unit),
        bound=fired.bound, off_by=_off_by(fired, unit), unit=unit or None,
        message=with_review(fill(tell, words), rows, today),
        bench_message=with_review_at_bench(fill(bench, words), rows, today),
        params=instance.params | told_with(rows, today), source=rule.source,
        choice=instance.choice if isinstance(instance, ChoiceUse) else None,
    )  # fmt: skip


def figures_of(word: Fired | Passed) -> dict[str, Any]:
    """Return what a word measured as an answer writes it: measured, limit, bound, unit, room.

    ``room`` is how far the figure is from its limit, whichever side it is on.
    """
    unit = _unit(word)
    return {
        "measured": _shown(word.measured, unit),
        "limit": _limit(word, unit),
        "bound": word.bound,
        "unit": unit or None,
        "room": _off_by(word, unit),
    }


def _unit(word: Fired | Passed) -> str:
    return word.unit or (TERMS[word.name].unit if word.name in TERMS else "")


def _shown(value: Any, unit: str) -> Shown:
    if value is None or not unit:
        return None
    if unit == "date":
        return date.fromordinal(int(value)).isoformat()
    return number_in(value, unit)


def _limit(fired: Fired | Passed, unit: str) -> Shown | list[Shown]:
    if isinstance(fired.limit, tuple):
        return [_shown(each, unit) for each in fired.limit]
    return _shown(fired.limit, unit)


def _distance(fired: Fired | Passed) -> Any:
    if fired.measured is None or fired.limit is None:
        return None
    ends = fired.limit if isinstance(fired.limit, tuple) else (fired.limit,)
    measured: Any = fired.measured
    return min(abs(measured - end) for end in ends)


def _off_by(fired: Fired | Passed, unit: str) -> Shown:
    distance = _distance(fired)
    return int(distance) if distance is not None and unit == "date" else _shown(distance, unit)


def _figures_in_words(fired: Fired, unit: str) -> dict[str, str]:
    if fired.measured is None or fired.limit is None or not unit:
        return {}
    ends = fired.limit if isinstance(fired.limit, tuple) else (fired.limit,)
    off_by = _distance(fired)
    return {
        "measured": figure(fired.measured, unit),
        "limit": _ends(ends, unit),
        "off_by": f"{text_in(off_by, 'count')} days" if unit == "date" else figure(off_by, unit),
    }


def _ends(ends: tuple[Any, ...], unit: str) -> str:
    if len(ends) == 1:
        return figure(ends[0], unit)
    return f"{text_in(ends[0], unit)} to {figure(ends[1], unit)}"


def headline_of(findings: tuple[Finding, ...], name: str) -> str:
    """Return the first finding that stands in the way in at most 120 characters, else that all is well.

    Advice and notices change nothing, so they are no headline; a margin is the owner's alone.
    """
    first = next((each for each in findings if each.severity in ("refuse", "sign_off")), None)
    return all_well(name) if first is None else shortened(first.message)


def all_well(name: str) -> str:
    """Return the headline of what can be made, by its name."""
    return shortened(f"{name} can be made as asked.")


def shortened(text: str) -> str:
    """Return a sentence in at most 120 characters."""
    if len(text) <= _HEADLINE:
        return text
    return text[: _HEADLINE - 3].rsplit(" ", 1)[0] + "..."
