"""The rule book as a sheet to print and pin to the wall: one page a family, few words, large type.

Everything is in the one file: no script, nothing from elsewhere, and all that comes from the book is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from html import escape
from typing import Any, Final, Literal

from api import pages
from api.rule_book import known_family, rule_read
from api.visibility import Caller, sees_rule
from rules.ir import Rule, Severity
from rules.shop import Shop
from rules.words import placeholders_in

Paper = Literal["A4", "A5"]
MEDIA_TYPE: Final = "text/html; charset=utf-8"
#: Severity as a shape, a word and what to do: paper may be black and white, and not everybody sees red.
SIGNS: Final[dict[Severity, tuple[str, str, str]]] = {
    "refuse": ("\u25a0", "Refuse", "Not to be made so: change what is asked for."),
    "sign_off": ("\u25b2", "Sign off", "The maker looks at it and agrees first."),
    "advise": ("\u25cf", "Advise", "Can be made: advise the customer."),
    "notice": ("\u25cb", "Notice", "Can be made: tell the customer."),
}
#: The same for rules that only the bench reads, and for rules on the data itself.
_AT_THE_BENCH: Final[dict[Severity, str]] = {
    "refuse": "Not to be worked on so.",
    "sign_off": "The maker looks at it and agrees first.",
    "advise": "Look at it before you go on.",
    "notice": "Read it before you go on.",
}
_ON_DATA: Final[dict[Severity, str]] = {
    "refuse": "The data is wrong: put it right.",
    "sign_off": "The data may be wrong: look at it.",
    "advise": "Look at it when there is time.",
    "notice": "Good to know.",
}
_STYLES: Final[dict[Paper, str]] = {
    "A4": "@page { size: A4 portrait; margin: 14mm; }\n:root { font-size: 14pt; }\n",
    "A5": "@page { size: A5 portrait; margin: 9mm; }\n:root { font-size: 10pt; }\n",
}
_STYLE: Final = """
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 52rem; padding: 1rem; color: #000; background: #fff; }
body { font-family: "Helvetica", "Arial", sans-serif; line-height: 1.3; }
section { break-after: page; }
section:last-of-type { break-after: auto; }
h1 { font-size: 1.8rem; margin: 0 0 0.2rem; border-bottom: 3px solid #000; }
.key, footer { font-size: 0.75rem; margin: 0.2rem 0 0.8rem; }
.key span { margin-right: 1.2rem; }
article { break-inside: avoid; border-bottom: 1px solid #777; padding: 0.45rem 0; }
h2 { font-size: 1.15rem; margin: 0; font-weight: 700; }
h2 code { font-family: inherit; font-weight: 400; margin-right: 0.5rem; }
p, ul { margin: 0.15rem 0 0; }
ul { padding-left: 1.2rem; }
.limit { font-weight: 700; }
.severity { font-weight: 700; white-space: nowrap; }
.source { font-size: 0.7rem; }
@media print { body { max-width: none; padding: 0; } }
"""
_SENTENCE: Final = re.compile(r"(?<=[.!?])\s+")


def policy(paper: Paper) -> str:
    """Return the Content-Security-Policy of a sheet: its own style and nothing else."""
    return pages.policy(_style(paper))


def sheet(shop: Shop, who: Caller, family: str | None = None, paper: Paper = "A4") -> str:
    """Return the rules that a caller may read as a page of HTML, one printed page or more for each family.

    Raises:
        ProblemError: 404 for a family that the book has not.
    """
    wanted = None if family is None else known_family(shop, family)
    families: dict[str, list[Rule]] = {}
    for rule in shop.book.rules.values():
        if sees_rule(rule.id, who) and wanted in (None, rule.family):
            families.setdefault(rule.family, []).append(rule)
    body = "\n".join(line for name, rules in families.items() for line in _family(shop, name, rules))
    return pages.page(f"Rules of {shop.catalog.workshop.name}", _style(paper), body)


def _style(paper: Paper) -> str:
    return _STYLES[paper] + _STYLE


def _family(shop: Shop, name: str, rules: Iterable[Rule]) -> Iterator[str]:
    title = name[:1].upper() + name[1:]
    yield f"<section>\n<h1>{escape(title)}</h1>"
    yield f'<p class="key">{"".join(f"<span>{shape} {word}</span>" for shape, word, _ in SIGNS.values())}</p>'
    for rule in rules:
        yield from _rule(rule, rule_read(shop, rule))
    revision = f"catalog {shop.catalog.workshop.catalog_revision}, book {shop.book.content_hash[:19]}"
    yield f"<footer>{escape(shop.catalog.workshop.name)}, {escape(revision)}</footer>\n</section>"


def _rule(rule: Rule, read: dict[str, Any]) -> Iterator[str]:
    said_to_customers = not {"check", "quote"}.isdisjoint(rule.stages)
    yield f"<article>\n<h2><code>{escape(rule.id)}</code>{escape(rule.says)}</h2>"
    limits = list(dict.fromkeys(_limit(each) for each in read["limits"] if each["severity"] is not None))
    if limits:
        yield "".join(("<ul>", *(f'<li class="limit">{escape(each)}</li>' for each in limits), "</ul>"))
    for severity in rule.severities:
        shape, word, todo = SIGNS[severity]
        if not said_to_customers:
            todo = (_ON_DATA if rule.stages == ("catalog",) else _AT_THE_BENCH)[severity]
        yield f'<p><span class="severity">{shape} {word}.</span> {escape(todo)}</p>'
    help_with = _what_will_do(rule.tell if said_to_customers else rule.bench or rule.tell)
    if help_with:
        yield f"<p>{escape(help_with)}</p>"
    for row in read["law_rows"]:
        yield f'<p class="source">{escape(_law_row(row))}</p>'
    yield f'<p class="source">Source: {escape(rule.source)}</p>\n</article>'


_BOUNDS: Final = {
    "max": "at most",
    "min": "at least",
    "equal": "exactly",
    "between": "from",
    "above": "more than",
    "below": "less than",
}


def _limit(limit: dict[str, Any]) -> str:
    bound = _BOUNDS.get(limit["bound"], limit["bound"])
    return f"{limit['measured']}: {bound} {limit['limit']}, else {SIGNS[limit['severity']][1].lower()}"


def _law_row(row: dict[str, Any]) -> str:
    dates = f"checked {row['checked_on']}, look again by {row['review_by']}"
    return f"{row['says']} {row['source']}; {dates}. No legal advice."


def _what_will_do(sentences: str) -> str:
    """Return what a rule's own sentences say to do: those that name nothing of one spec."""
    kept = [each for each in _SENTENCE.split(sentences) if not placeholders_in(each)]
    return " ".join(kept)
