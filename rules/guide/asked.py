"""What a rule can tell of a name's value: of a word, often only whether it is one of a few."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any, Final

from rules.ir import (
    AllowOnly,
    Compare,
    Condition,
    Forbid,
    Graded,
    In,
    Includes,
    Limit,
    Not,
    Require,
    Rule,
    Term,
    names_of,
)

Asked = dict[str, frozenset[Any] | None]


def asked_words(rule: Rule) -> Asked:
    """Return for each name the words that a rule asks it for; None where it wants the value itself."""
    found: Asked = {}
    for clause in rule.clauses:
        _look(found, clause.when)
        match clause.verb:
            case Graded(name=name):
                found[name] = None
            case Limit(term=term, upper=upper, steps=steps):
                for each in (term, upper, *(step.limit for step in steps)):
                    found |= dict.fromkeys(_term_names(each))
            case Forbid(rows=rows) | AllowOnly(rows=rows):
                for row in rows:
                    _look(found, row)
            case Require(condition=condition):
                _look(found, condition)
    return found


def _look(found: Asked, condition: Condition) -> None:
    """Note what a condition asks for."""
    match condition:
        case In(name=name, values=values):
            _ask(found, name, values)
        case Includes(name=name, value=value):
            _ask(found, name, frozenset({value}))
        case Not(condition=inner):
            _look(found, inner)
        case Compare():
            found |= dict.fromkeys(names_of(condition))
        case _:
            for each in condition.conditions:
                _look(found, each)


def _ask(found: Asked, name: str, words: frozenset[Any]) -> None:
    before = found.get(name, frozenset())
    found[name] = None if before is None else before | words


def _term_names(term: Term | None) -> frozenset[str]:
    return frozenset() if term is None else names_of(Compare(term, "max", term))


def told(name: str, value: Any, asked: Mapping[str, frozenset[Any] | None]) -> Hashable:
    """Return what a rule can tell of a name's value."""
    words = asked.get(name)
    if words is None or value is None:
        return value  # type: ignore[no-any-return]
    if isinstance(value, frozenset):
        return value & words
    return value if value in words else _OTHER


def of_asked(value: frozenset[str], words: frozenset[Any] | None) -> frozenset[str]:
    """Return what a rule can tell of a set."""
    return value if words is None else value & words


_OTHER: Final = ("another",)
