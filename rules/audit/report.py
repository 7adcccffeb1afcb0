"""What an audit says: one report a finding, with a witness or the argument, and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

Kind = Literal[
    "void_book", "void_pattern", "agreed_pattern", "dead_code", "dead_option", "forced_choice", "never_applies",
    "cannot_be_broken", "duplicate_rule", "subsumed_rule", "masked_rule", "redundant_rule", "idle_advice",
    "surcharge_overlap", "missing_example", "stale_example", "unpinned_limit", "accept_unused",
]  # fmt: skip
KINDS: Final[Mapping[Kind, str]] = {
    "void_book": "No spec can be made.",
    "void_pattern": "A pattern of which no spec can be made.",
    "agreed_pattern": "A pattern of which nothing can be made without the maker's agreement.",
    "dead_code": "A code of the catalog that occurs in no spec that can be made.",
    "dead_option": "Something that a pattern itself offers and that no spec of it that can be made has.",
    "forced_choice": "A slot of a pattern with several options of which only one can ever be used.",
    "never_applies": "A rule that applies to nothing in the catalog.",
    "cannot_be_broken": "A rule that nothing in the catalog breaks.",
    "duplicate_rule": "Two rules that say the same.",
    "subsumed_rule": "A rule that another one rule covers: whatever it stands against, that one stands against too.",
    "masked_rule": "A rule that asks for the maker's agreement only where others refuse.",
    "redundant_rule": "A rule that several others together cover: without it nothing more could be made.",
    "idle_advice": "A rule in a pattern where nothing that it points at can be changed so that the spec can be made.",
    "surcharge_overlap": "Two rows of the price list that charge for one thing at once.",
    "missing_example": "A rule without an example that fails, passes or skips.",
    "stale_example": "An example that names what is no longer there, or that comes out otherwise now.",
    "unpinned_limit": "A limit that no example of its rule holds in place.",
    "accept_unused": "A line of the accept-list that matches no report.",
}
#: Kinds that only a look at every spec of a pattern finds.
ONLY_EXACT: Final = frozenset[Kind](
    {
        "agreed_pattern", "dead_option", "forced_choice", "subsumed_rule", "masked_rule", "redundant_rule",
        "idle_advice",
    }
)  # fmt: skip
EXHAUSTIVE: Final = "exhaustive"


@dataclass(frozen=True, slots=True)
class Report:
    """One finding of an audit.

    ``what`` names a rule, a code with its noun, a pattern with a slot or a rule, or a pair. ``proof`` is "exhaustive",
    or "exhaustive over N specs", where everything was gone through, else "search of N specs". ``witness`` is a spec, a
    row or a pair that shows it; None where ``says`` is the argument. ``reason``: why it is accepted, None where it is
    not.
    """

    kind: Kind
    what: str
    says: str
    proof: str = EXHAUSTIVE
    witness: Mapping[str, Any] | None = None
    reason: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the report as JSON carries it."""
        return {
            "kind": self.kind, "what": self.what, "says": self.says, "proof": self.proof,
            "witness": None if self.witness is None else dict(self.witness), "accepted": self.reason,
        }  # fmt: skip
