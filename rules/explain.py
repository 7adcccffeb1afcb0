"""Every rule's word on a spec with its figures, in the result kinds of SARIF 2.1.0, and the monogram read back.

pass, fail (refuse), review (sign_off), informational (advise, notice), notApplicable; open: what
the rule reads is still to be chosen (:mod:`rules.waiting`).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from fractions import Fraction
from typing import Any, Final

from rules.case import Case
from rules.choice_use import ChoiceUse
from rules.evaluate import Judges
from rules.findings import figures_of
from rules.ir import Rule
from rules.judge import Fired, Passed
from rules.subjects import Instance
from rules.vocabulary import SUBJECTS, TERMS
from rules.waiting import Waiting

_KIND: Final = {"refuse": "fail", "sign_off": "review", "advise": "informational", "notice": "informational"}
_WORST: Final = ("fail", "review", "informational", "open", "pass", "notApplicable")
Said = tuple[Instance, Fired | Passed | None]


def explained(judges: Judges, case: Case) -> list[dict[str, Any]]:
    """Return one entry a rule, sorted by id: its kind, how many instances it looked at, and its figures.

    The figures are those of the instance that decided: the worst, and among equals the one nearest
    to its limit.
    """
    waiting = Waiting(judges, case)
    said: dict[str, list[Said]] = {}
    for rule, instance, word in judges.words_on(case):
        if not _is_stated_default(instance):
            said.setdefault(rule.id, []).append((instance, word))
    rules = {rule.id: rule for rules in judges.tables.values() for rule, _ in rules}
    return [_entry(rules[rule_id], said.get(rule_id, []), waiting) for rule_id in sorted(rules)]


def _entry(rule: Rule, said: list[Said], waiting: Waiting) -> dict[str, Any]:
    kinds = [_kind(word, waits=waiting.waits(rule, instance, word)) for instance, word in said]
    if waiting.unlisted(rule):
        kinds.append("open")
    kind = min(kinds, key=_WORST.index, default="notApplicable")
    found: dict[str, Any] = {
        "rule": rule.id,
        "kind": kind,
        "looked_at": sum(each not in ("notApplicable", "open") for each in kinds),
    }
    deciding = [(instance, word) for instance, word in said if word is not None and _kind(word, waits=False) == kind]
    if not deciding:
        return found
    instance, word = min(deciding, key=lambda each: _room(each[1]))
    return found | {"subject": dict(instance.subject)} | figures_of(word)


def _kind(word: Fired | Passed | None, *, waits: bool) -> str:
    if isinstance(word, Fired):
        return _KIND[word.severity]
    if waits:
        return "open"  # what passes so far need not pass once all is chosen
    return "pass" if isinstance(word, Passed) else "notApplicable"


def _room(word: Fired | Passed | None) -> Fraction:
    """Return how near a figure is to its limit, as a share of the limit; what has no figure comes last."""
    if word is None or word.measured is None or word.limit is None:
        return Fraction(10**9)
    ends: tuple[Any, ...] = word.limit if isinstance(word.limit, tuple) else (word.limit,)
    measured: Any = word.measured
    return min((Fraction(abs(measured - end)) / max(abs(end), 1) for end in ends), default=Fraction(0))


def _is_stated_default(instance: Instance) -> bool:
    """Whether it is a stitch that was stated although the pattern would take it anyway.

    The echo of a spec states it, so the spec and its echo must be explained alike.
    """
    return isinstance(instance, ChoiceUse) and instance.choice.what == "stitch" and instance.choice.offered is True


def read_back(case: Case) -> list[dict[str, Any]] | None:
    """Return the monogram sign by sign, as it is set, to be read over the phone; None where none is asked for.

    ``in_type`` whether the typeface has the sign (None: the typeface is open), ``asked`` how often it stands
    in the text so far, ``good`` and ``worn`` the pieces of type in the case.
    """
    monogram, face = case.piece.spec.monogram, case.piece.typeface
    if monogram is None:
        return None
    held = {} if face is None else {each.sign: each for each in SUBJECTS["letter"].instances(case)}
    return [_sign(sign, held.get(sign), monogram.text[: place + 1]) for place, sign in enumerate(monogram.text)]


def _sign(sign: str, letter: Any, so_far: Iterable[str]) -> dict[str, Any]:
    found: dict[str, Any] = {
        "sign": sign,
        "name": unicodedata.name(sign, f"U+{ord(sign):04X}").lower(),
        "asked": sum(each == sign for each in so_far),
    }
    if letter is None:
        return found | {"in_type": None, "good": None, "worn": None}
    measured = {name: TERMS[f"letter.{name}"].measure(letter) for name in ("in_type", "good_sorts", "worn_sorts")}
    in_type = measured["in_type"]
    return found | {
        "in_type": in_type,
        "good": measured["good_sorts"] if in_type else 0,
        "worn": measured["worn_sorts"] if in_type else 0,
    }
