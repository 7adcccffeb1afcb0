"""A comparison as lines for a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from api.terminal import plain

_MOST_SHOWN: Final = 10


def table(told: Mapping[str, Any]) -> list[str]:
    """Return a comparison as lines for a terminal: by rule, then outcomes, totals and days; of cases the first few."""
    counts = ", ".join(f"{count} of {told['compared'][source]} {source}" for source, count in _by_source(told))
    lines = [f"As of {told['as_of']}. Changed: {counts or 'nothing was compared'}."]
    lines += [f"Not compared: {each['count']} {each['source']}: {each['why']}." for each in told["not_compared"]]
    for heading, rules in (("New rules", told["rules_added"]), ("Rules dropped", told["rules_dropped"])):
        if rules:
            lines.append(f"{heading}: {', '.join(rules)}.")
    for rule in told["rules"]:
        lines += _headed(f"{rule['rule']} newly falls", rule["newly_falls"])
        lines += _headed(f"{rule['rule']} newly passes", rule["newly_passes"])
        for moved in rule["severity_changes"]:
            lines += _headed(f"{rule['rule']} from {moved['old']} to {moved['new']}", moved)
    for moved in told["outcomes"]:
        lines += _headed(f"From {moved['old']} to {moved['new']}", moved)
    totals = told["totals"]
    lines += _headed(f"Totals that move, {totals['difference']} {totals['currency']} in all", totals)
    lines += _headed("Days that move", told["ready_on"])
    return lines


def _by_source(told: Mapping[str, Any]) -> list[tuple[str, int]]:
    return [(source, told["changed"].get(source, 0)) for source in told["compared"]]


def _headed(heading: str, cases: Mapping[str, Any]) -> list[str]:
    if not cases["count"]:
        return []
    lines = [f"{heading}: {cases['count']}"]
    for case in cases["cases"][:_MOST_SHOWN]:
        item = "" if case["item"] is None else f", item {case['item']}"
        outcomes = f"{case['old_outcome']} -> {case['new_outcome']}"
        lines.append(
            f"  {case['source']} {plain(case['ref'])}{item} ({plain(case['pattern'])}): {outcomes}{_more(case)}"
        )
    if cases["count"] > _MOST_SHOWN:
        lines.append(f"  and {cases['count'] - min(_MOST_SHOWN, len(cases['cases']))} more")
    return lines


def _more(case: Mapping[str, Any]) -> str:
    if "old_total" in case:
        return f"; {case['old_total'] or 'no price'} -> {case['new_total'] or 'no price'} ({case['difference'] or '-'})"
    if "old_ready_on" in case:
        return f"; {case['old_ready_on'] or 'no day'} -> {case['new_ready_on'] or 'no day'}"
    return f"; {plain(case['says'])}" if case.get("says") else ""
