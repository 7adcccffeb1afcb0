"""The audit of the book as JSON carries it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from api.schemas.bases import Out
from api.schemas.figures import IsoDate
from api.schemas.stages import StageFinding
from rules.audit.report import Kind


class AuditKind(Out):
    """A kind of report."""

    kind: Kind = Field(description="Its name.")
    says: str = Field(description="What is reported.")
    reports: int = Field(description="How many there are, accepted ones among them.")


class AuditReport(Out):
    """Something in the book, the catalog or the price list that has no effect, or that nothing holds in place."""

    kind: Kind = Field(description="Which kind.")
    what: str = Field(description="The rule, the code with its noun, or the pair.", examples=["leather CE-GRY"])
    says: str = Field(description="What was found, or the argument.")
    proof: str = Field(
        description='"exhaustive", or "exhaustive over N specs", where all was gone through; else "search of N specs": '
        "then there may be one more.",
        pattern=r"^(exhaustive( over [0-9]+ specs)?|search of [0-9]+ specs)$",
    )
    witness: dict[str, Any] | None = Field(
        description="A spec, a pair of rules or rows that shows it; of a dead code the spec that comes nearest."
    )
    accepted: str | None = Field(description="Why the workshop accepts it; null where it does not.")


class ClosedOption(Out):
    """An option with which nothing can be made in a pattern."""

    value: Any = Field(description="The option, as guidance gives it.")
    rules: list[str] = Field(description="Rules that close it.")


class AuditedSlot(Out):
    """A slot of a pattern."""

    slot: str = Field(description="JSON Pointer into a spec.", examples=["/edge"])
    options: int = Field(description="How many options it has.")
    closed: list[ClosedOption] = Field(
        description="Those with which nothing can be made there. Only what the pattern itself offers is a defect."
    )


class AuditedPattern(Out):
    """What a pattern comes to, exact: every spec of its slots, with one piece and nothing carried."""

    pattern: str = Field(description="Its code.")
    state: Literal["open", "sign_off", "closed"] = Field(
        description="Whether anything can be made of it, only with the maker's agreement, or nothing at all."
    )
    specs: int = Field(description="How many specs its slots have.")
    makeable: int = Field(description="How many of them can be made, at once or when agreed.")
    without_agreement: int = Field(description="How many of them can be made at once.")
    slots: list[AuditedSlot] = Field(description="Its slots.")


class AuditRevisions(Out):
    """What was audited."""

    catalog: str = Field(description="Revision of the catalog.")
    catalog_hash: str = Field(description="Hash of its files.")
    rule_book: str = Field(description="Hash of the rule book.")


class RuleAudit(Out):
    """The audit of the book on a day, the stock as the catalog's files say."""

    as_of: IsoDate = Field(description="The day.")
    revisions: AuditRevisions = Field(description="The files that it was made of.")
    well: bool = Field(description="Whether every report is accepted.")
    judged: int = Field(description="How many specs were judged in the search.")
    unsearched: list[str] = Field(
        description="Rules that no check looks at: of another stage, or not in force. Only their examples are audited."
    )
    kinds: list[AuditKind] = Field(description="Every kind of report.")
    patterns: list[AuditedPattern] = Field(
        description="What each pattern comes to, those aside that are too entangled to be gone through."
    )
    reports: list[AuditReport] = Field(description="What was found.")
    standing_by: list[AuditReport] = Field(
        description="Rules of the trade, and effects of others, that stand against nothing more on this catalog."
    )
    catalog: list[StageFinding] = Field(description="What the rules of stage catalog say of the data itself.")


class AuditUnderWay(Out):
    """The audit is being made; ask again."""

    judged: int = Field(description="How many specs were judged so far.")
