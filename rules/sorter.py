"""Rules over one subject, with the few that can apply to an instance found quickly."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from rules.ir import In, Rule, Value
from rules.judge import Fired, Judge, Reader
from rules.subjects import Instance
from rules.vocabulary import TERMS


@dataclass(frozen=True, slots=True)
class Found:
    """A rule that fired on an instance."""

    rule: Rule
    fired: Fired
    instance: Instance


Table = list[tuple[Rule, Judge]]


class Sorter:
    """The rules of one subject, sorted by the word that most of their conditions ask for.

    Most rules over a panel ask how its lot suits it, most rules over a choice which noun it is:
    reading that word once leaves the few rules that can apply.
    """

    def __init__(self, rules: Table, reader_of: Callable[[str], Reader]) -> None:
        self._rules = rules
        asked = Counter(name for rule, _ in rules for name in _words_asked(rule))
        self._read: Reader | None = None
        if asked and max(asked.values()) > 1:
            name = min(asked, key=lambda each: (-asked[each], each))
            self._read = reader_of(name)
            self._by_word: dict[Value, Table] = {
                word: [(rule, judge) for rule, judge in rules if _may_apply(rule, name, word)]
                for word in (*TERMS[name].levels, None)
            }

    def fired(self, instance: Instance) -> list[Found]:
        """Return the findings of the rules on one instance."""
        rules = self._rules if self._read is None else self._by_word[self._read(instance)]
        found = []
        for rule, judge in rules:
            said = judge(instance)
            if isinstance(said, Fired):
                found.append(Found(rule, said, instance))
        return found


def _words_asked(rule: Rule) -> set[str]:
    """Return the closed words that the rule's conditions ask for in every clause."""
    asked = [
        {each.name for each in clause.when.conditions if isinstance(each, In) and TERMS[each.name].levels}
        for clause in rule.clauses
    ]
    return set.intersection(*asked)


def _may_apply(rule: Rule, name: str, word: str | None) -> bool:
    """Whether some clause's condition admits the word; a condition on an unknown word does not hold."""
    return any(
        all(word in each.values for each in clause.when.conditions if isinstance(each, In) and each.name == name)
        for clause in rule.clauses
    )
