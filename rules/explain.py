"""Every rule's word on a spec, in the result kinds of SARIF 2.1.0.

pass, fail (refuse), review (sign_off), informational (advise, notice), notApplicable; a rule
whose figures are not yet known on any instance of its subject is open.
"""

from __future__ import annotations

from typing import Any

from rules.case import Case
from rules.evaluate import Judges
from rules.judge import Fired, Passed

_KIND = {"refuse": "fail", "sign_off": "review", "advise": "informational", "notice": "informational"}
_WORST = ("fail", "review", "informational", "pass", "notApplicable")


def explained(judges: Judges, case: Case) -> list[dict[str, Any]]:
    """Return one entry a rule, sorted by id: its kind and how many instances it looked at."""
    kinds: dict[str, list[str]] = {}
    for rule, _, said in judges.words_on(case):
        kinds.setdefault(rule.id, []).append(_kind(said))
    for rule_id in judges.rule_ids:
        kinds.setdefault(rule_id, [])
    return [
        {
            "rule": rule_id,
            "kind": min(said, key=_WORST.index, default="notApplicable"),
            "looked_at": sum(kind != "notApplicable" for kind in said),
        }
        for rule_id, said in sorted(kinds.items())
    ]


def _kind(said: Fired | Passed | None) -> str:
    if isinstance(said, Fired):
        return _KIND[said.severity]
    return "pass" if isinstance(said, Passed) else "notApplicable"
