"""The accept-list of a workshop: reports of an audit that it knows of, each with its reason.

A line is good for one report; one that matches none is itself reported, so the list cannot outlive what it excuses.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from catalog.strict_yaml import Document, Fault, Faults, did_you_mean, read
from rules.audit.report import KINDS, Report

FILE: Final = "accept.yaml"
#: More than these is no list of exceptions any more.
MOST: Final = 10
_FIELDS: Final = ("kind", "what", "reason")


@dataclass(frozen=True, slots=True)
class Accepted:
    """A line of the list."""

    kind: str
    what: str
    reason: str
    line: int


def accepted_in(house: Mapping[str, str]) -> tuple[Accepted, ...]:
    """Return the accept-list among a workshop's own files, empty where it has none.

    Raises:
        Faults: with every fault of the list, by line and column.
    """
    if FILE not in house:
        return ()
    document = read(house[FILE], FILE)
    faults: list[Fault] = []
    found = tuple(_lines(document, faults))
    if faults:
        raise Faults(tuple(faults))
    return found


def _lines(document: Document, faults: list[Fault]) -> Iterator[Accepted]:
    value = document.value
    lines = value.get("accept") if isinstance(value, dict) and set(value) == {"accept"} else None
    if not isinstance(lines, list):
        faults.append(document.fault((), "an accept-list has 'accept', a list of lines"))
        return
    if len(lines) > MOST:
        faults.append(document.fault(("accept", MOST), f"at most {MOST} reports may be accepted; mend the others"))
    seen: set[tuple[str, str]] = set()
    for place, line in enumerate(lines):
        path = ("accept", place)
        if not isinstance(line, dict) or set(line) != set(_FIELDS) or not all(_said(line[each]) for each in _FIELDS):
            faults.append(document.fault(path, f"a line has {', '.join(_FIELDS)}, each a text"))
        elif line["kind"] not in KINDS:
            near = did_you_mean(line["kind"], KINDS)
            faults.append(document.fault((*path, "kind"), f"there is no kind of report '{line['kind']}'{near}"))
        elif (line["kind"], line["what"]) in seen:
            faults.append(document.fault(path, f"{line['kind']} of {line['what']} is accepted twice"))
        else:
            seen.add((line["kind"], line["what"]))
            yield Accepted(line["kind"], line["what"], line["reason"], document.position(path)[0])


def _said(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def with_reasons(reports: Iterable[Report], accepted: Iterable[Accepted]) -> list[Report]:
    """Return the reports, the accepted ones with their reason, and one more for each line that matches none."""
    reasons = {(each.kind, each.what): each for each in accepted}
    found = []
    for report in reports:
        line = reasons.pop((report.kind, report.what), None)
        found.append(report if line is None else replace(report, reason=line.reason))
    unused = (
        Report("accept_unused", f"{each.kind} {each.what}", f"Line {each.line} of {FILE} matches no report; strike it.")
        for each in reasons.values()
    )
    return [*found, *unused]
