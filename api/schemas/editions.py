"""Files of the workshop as bodies, editions and comparisons as answers."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, Field, StringConstraints

from api.schemas.bases import In, Out
from api.schemas.spec import SpecIn

#: Characters of one file; the reader of files takes as many bytes.
LONGEST_FILE = 1_000_000
MOST_FILES = 100
Text = Annotated[str, StringConstraints(max_length=LONGEST_FILE)]
_FILES = (
    "Text by file name; these replace files of the edition in force, null leaves an optional one out, all others stay."
)


class FilesIn(In):
    """Files: what changes of the edition in force, the folder of the service, or an edition that was."""

    files: dict[str, Text | None] | None = Field(
        None, max_length=MOST_FILES, description=_FILES, examples=[{"house-rules.yaml": None}]
    )
    folder: bool = Field(default=False, description="true: the files as they stand in the folder of the service.")
    edition: int | None = Field(
        None, ge=1, le=1_000_000_000, description="Number of an edition whose files are meant.", examples=[1]
    )


class EditionIn(FilesIn):
    """Files to put in force."""

    note: str | None = Field(None, max_length=500, description="Why.", examples=["Tighter bottom fold of the sleeve"])


class ComparisonIn(FilesIn):
    """Files to compare with those in force."""

    sample: int = Field(200, ge=0, le=1_000, description="How many random specs, always the same, to compare too.")
    specs: dict[str, SpecIn] = Field(
        default_factory=dict, max_length=500, description="Specs of your own to compare too, by the name you give them."
    )


class Counted(Out):
    """Cases: how many, how many of each source, and the first 200 by name."""

    count: int = Field(description="How many.")
    by_source: dict[str, int] = Field(description="How many from each source.")
    cases: list[dict[str, Any]] = Field(
        description="Source, ref (the record's id), item, pattern and both outcomes; of rules also the finding's words."
    )


class Moved(Counted):
    """Cases that go from one word to another."""

    old: str = Field(description="By the old files.", examples=["buildable"])
    new: str = Field(description="By the new files.", examples=["sign_off"])


class RuleMoved(Out):
    """What changes by one rule."""

    rule: str = Field(description="Id of the rule.", examples=["FLD-01"])
    newly_falls: Counted = Field(description="It fires by the new files and not by the old.")
    newly_passes: Counted = Field(description="It fires by the old files and not by the new.")
    severity_changes: list[Moved] = Field(description="It fires by both, with another severity at its worst.")


class TotalsMoved(Counted):
    """Totals that are others."""

    currency: str = Field(description="ISO 4217.", examples=["EUR"])
    difference: str = Field(description="New less old, summed up where both have a total.", examples=["12.00"])


class Side(Out):
    """What one side is judged by."""

    edition: int | None = Field(description="Number of the edition; null for files that are none.")
    content_hash: str = Field(description="Hash of the workshop's files.")
    revisions: dict[str, Any] = Field(description="Revisions, as an answer to a check names them.")


class NotCompared(BaseModel):
    """Specs that cannot be compared."""

    source: str = Field(description="Where they come from.", examples=["check"])
    why: str = Field(description="Why not.")
    count: int = Field(description="How many.")


class ComparisonOut(Out):
    """What the new files say otherwise than the old. Sources: example, pattern, check, quote, order, sample."""

    as_of: str = Field(description="The day by which both sides judge.", examples=["2026-03-02"])
    old: Side = Field(description="The files in force.")
    new: Side = Field(description="The files compared with them.")
    compared: dict[str, int] = Field(description="How many specs of each source were judged by both sides.")
    changed: dict[str, int] = Field(description="How many of them differ in outcome, rules, total or day.")
    not_compared: list[NotCompared] = Field(description="What could not be compared, and why.")
    outcomes: list[Moved] = Field(description="Where the outcome is another.")
    rules: list[RuleMoved] = Field(description="What changes by rule, by id.")
    rules_added: list[str] = Field(description="Rules that only the new side has.")
    rules_dropped: list[str] = Field(description="Rules that only the old side has.")
    totals: TotalsMoved = Field(description="Where the total is another.")
    ready_on: Counted = Field(description="Where the day promised is another.")


class ObstacleOut(BaseModel):
    """Something in use that the files lack."""

    noun: str = Field(description="What it is.", examples=["leather"])
    code: str = Field(description="Its code.", examples=["SH-GAR"])
    used_by: list[str] = Field(description="Who uses it.", examples=[["O13"]])
    says: str = Field(description="Why it must stay, and what would do.")


class EditionDraftOut(Out):
    """What putting files in force would do."""

    base: int = Field(description="Number of the edition in force, with which the files are compared.")
    content_hash: str = Field(description="Hash of the files.")
    in_the_way: list[ObstacleOut] = Field(description="What must be seen to first; while there is any, 409.")
    notes: list[str] = Field(description="What else to know, in sentences.")
    affected: ComparisonOut = Field(description="What changes for open quotes and open orders.")


class EditionOut(Out):
    """An edition."""

    number: int = Field(description="Its number, from 1.", examples=[1])
    at: str = Field(description="Moment at which it was put in force, UTC.")
    by: str = Field(description="Id of the key that did so, opening, or command line.")
    content_hash: str = Field(description="Hash of its files.")
    note: str | None = Field(description="Why.")
    in_force: bool = Field(description="Whether it is the one in force.")


class EditionMade(EditionOut):
    """An edition just put in force."""

    lots_received: list[str] = Field(description="Lots that came into stock with it.")


class EditionFull(EditionOut):
    """An edition with its files."""

    files: dict[str, str] = Field(description="Text by file name.")


class FolderOut(Out):
    """The folder of the service beside the edition in force."""

    differs: bool = Field(description="Whether its files are others than those in force.")
    says: str | None = Field(description="What to do about it; null where nothing is to be done.")


class EditionList(BaseModel):
    """Editions, the newest first."""

    items: list[EditionOut] = Field(description="The entries of the list.")
    folder: FolderOut = Field(description="The folder of the service.")
