"""From fired rules to findings: figures, order, root causes, sentences."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from catalog.units import number_in, text_in
from rules.ir import SEVERITIES, Bound, Severity
from rules.judge import Fired
from rules.sorter import Found
from rules.vocabulary import TERMS
from rules.words import figure, fill

_HEADLINE = 120
_PLACE = {severity: place for place, severity in enumerate(SEVERITIES)}
Shown = int | float | str | None


@dataclass(slots=True)  # not frozen: a frozen one takes four times as long to make
class Finding:
    """One rule's word on one spec, ready to be shown; fields as in the answer."""

    id: str
    rule: str
    severity: Severity
    at: tuple[str, ...]
    subject: dict[str, Any]
    measured: Shown
    limit: Shown | list[Shown]
    bound: Bound
    off_by: Shown
    unit: str | None
    caused_by: str | None
    message: str
    bench_message: str
    params: dict[str, Any]
    source: str

    def as_json(self, remedies: list[dict[str, Any]]) -> dict[str, Any]:
        """Return the finding as the answer writes it."""
        return {
            "id": self.id, "rule": self.rule, "severity": self.severity, "at": list(self.at),
            "subject": self.subject, "measured": self.measured, "limit": self.limit, "bound": self.bound,
            "off_by": self.off_by, "unit": self.unit, "caused_by": self.caused_by, "message": self.message,
            "bench_message": self.bench_message, "params": self.params, "remedies": remedies, "source": self.source,
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
    """A finding with where it points and its place among others of its severity."""

    __slots__ = ("at", "cause", "found", "key", "parts")

    def __init__(self, found: Found) -> None:
        self.found = found
        self.at = pointers_of(found)
        self.parts = frozenset(found.instance.parts)
        subject = tuple(f"{name}={value}" for name, value in sorted(found.instance.subject.items()))
        self.key = (found.rule.id, self.at, subject)
        self.cause: _Placed | None = None

    @property
    def order(self) -> tuple[Any, ...]:
        """Return severity, causes before it, rule id, pointers, subject."""
        return _PLACE[self.found.fired.severity], self.depth, *self.key

    @property
    def depth(self) -> int:
        """Return how many causes stand before it; a circle of causes ends where it closes."""
        seen, cause = {id(self)}, self.cause
        while cause is not None and id(cause) not in seen:
            seen.add(id(cause))
            cause = cause.cause
        return len(seen) - 1


def findings_of(found: list[Found]) -> tuple[Finding, ...]:
    """Return findings in the order severity, root before effect, rule id, pointer, subject."""
    placed = [_Placed(each) for each in found]
    for each in placed:
        if each.found.rule.effect_of:
            each.cause = _cause(each, placed)
    placed.sort(key=lambda each: each.order)
    ids = {id(each): f"f{place}" for place, each in enumerate(placed, start=1)}
    return tuple(_finding(each, ids[id(each)], None if each.cause is None else ids[id(each.cause)]) for each in placed)


def _cause(effect: _Placed, placed: list[_Placed]) -> _Placed | None:
    """Return the finding that explains this one: its rule is named, and a choice is shared."""
    named = effect.found.rule.effect_of
    causes = [each for each in placed if each is not effect and each.found.rule.id in named and _touch(each, effect)]
    return min(causes, key=lambda each: (_PLACE[each.found.fired.severity], *each.key), default=None)


def _touch(one: _Placed, other: _Placed) -> bool:
    return bool(one.parts & other.parts) or any(_under(a, b) or _under(b, a) for a in one.at for b in other.at)


def _under(pointer: str, above: str) -> bool:
    return pointer == above or pointer.startswith(f"{above}/")


def _finding(placed: _Placed, name: str, cause: str | None) -> Finding:
    found = placed.found
    fired, instance, rule = found.fired, found.instance, found.rule
    unit = TERMS[fired.name].unit if fired.name in TERMS else ""
    words, clause = instance.words | _figures_in_words(fired, unit), rule.clauses[fired.clause]
    tell = clause.tell or rule.tell
    bench = clause.bench or (tell if clause.tell else rule.bench or rule.tell)
    return Finding(
        id=name, rule=rule.id, severity=fired.severity, at=placed.at, subject=instance.subject,
        measured=_shown(fired.measured, unit), limit=_limit(fired, unit), bound=fired.bound,
        off_by=_off_by(fired, unit), unit=unit or None, caused_by=cause, message=fill(tell, words),
        bench_message=fill(bench, words), params=instance.params, source=rule.source,
    )  # fmt: skip


def _shown(value: Any, unit: str) -> Shown:
    if value is None or not unit:
        return None
    if unit == "date":
        return date.fromordinal(int(value)).isoformat()
    return number_in(value, unit)


def _limit(fired: Fired, unit: str) -> Shown | list[Shown]:
    if isinstance(fired.limit, tuple):
        return [_shown(each, unit) for each in fired.limit]
    return _shown(fired.limit, unit)


def _distance(fired: Fired) -> Any:
    if fired.measured is None or fired.limit is None:
        return None
    ends = fired.limit if isinstance(fired.limit, tuple) else (fired.limit,)
    measured: Any = fired.measured
    return min(abs(measured - end) for end in ends)


def _off_by(fired: Fired, unit: str) -> Shown:
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
    text = f"{name} can be made as asked." if first is None else first.message
    if len(text) <= _HEADLINE:
        return text
    return text[: _HEADLINE - 3].rsplit(" ", 1)[0] + "..."
