"""The audit of the book as JSON carries it."""

from __future__ import annotations

from typing import Any

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
        description='"exhaustive" where all was gone through, else "search of N specs": then there may be one more.',
        pattern=r"^(exhaustive|search of [0-9]+ specs)$",
    )
    witness: dict[str, Any] | None = Field(
        description="A spec, a pair of rules or rows that shows it; of a dead code the spec that comes nearest."
    )
    accepted: str | None = Field(description="Why the workshop accepts it; null where it does not.")


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
    reports: list[AuditReport] = Field(description="What was found.")
    catalog: list[StageFinding] = Field(description="What the rules of stage catalog say of the data itself.")


class AuditUnderWay(Out):
    """The audit is being made; ask again."""

    judged: int = Field(description="How many specs were judged so far.")
