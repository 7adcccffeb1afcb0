"""Faults of a rule's sentences: words that come out empty, and braces that are no placeholder.

What is measured, its limit and the distance are known only where a figure is held against a limit. A rule's own
sentence serves the clauses that have none of their own, so each of these must measure something.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.ir import Clause, Limit, Rule
from rules.words import placeholders_in, without_placeholders

#: Words that any sentence over a limit may use: what is measured, its limit and the distance.
FIGURES: Final = ("measured", "limit", "off_by")
_Path = tuple[str | int, ...]


def wrong_in_text(name: str, sentence: str, words: tuple[str, ...], subject: str) -> Iterator[str]:
    """Give what is wrong about a sentence whatever it serves: nothing in it, unknown words, braces left over."""
    if not sentence.strip():
        yield f"{name!r} says nothing"
    for word in placeholders_in(sentence):
        if word not in words and word not in FIGURES:
            yield f"{{{word}}} is not a word of {subject!r}"
    left = without_placeholders(sentence)
    if "{" in left or "}" in left:
        known = ", ".join(f"{{{word}}}" for word in (*words, *FIGURES))
        yield f"a brace that belongs to no word; words are written so: {known}"


def wrong_sentences(rule: Rule) -> Iterator[tuple[_Path, str]]:
    """Give the sentences that speak of a figure where a clause that they serve measures none, with their places."""
    served: dict[_Path, tuple[str, list[Clause]]] = {}
    for place, clause in enumerate(rule.clauses):
        own: _Path = ("clauses", place)
        tell = (*own, "tell") if clause.tell else ("tell",)
        bench = (*own, "bench") if clause.bench else tell if clause.tell or not rule.bench else ("bench",)
        for path, sentence in ((tell, clause.tell or rule.tell), (bench, clause.bench or rule.bench)):
            served.setdefault(path, (sentence, []))[1].append(clause)
    for path, (sentence, clauses) in served.items():
        if all(isinstance(clause.verb, Limit) for clause in clauses):
            continue
        for word in sorted(set(FIGURES).intersection(placeholders_in(sentence))):
            yield path, f"{rule.id}: {{{word}}} is empty where nothing is measured: only 'limit' knows it"
