"""Why an option is closed, and which choices clash: rules with their own sentences."""

from __future__ import annotations

from dataclasses import dataclass

from rules.findings import Finding
from rules.guide.answer import Guidance


@dataclass(frozen=True, slots=True)
class Clash:
    """Choices that cannot stand together.

    ``choices`` are all smallest sets of pointers, each as the spec names them; ``findings`` are what the rules at work
    in the first of them say, as a check would.
    """

    choices: tuple[tuple[str, ...], ...]
    findings: tuple[Finding, ...]


def because(guidance: Guidance, pointer: str, value: object) -> tuple[Finding, ...]:
    """Return what the rules that close an option say, as a check of a spec with it would; the fewest that do."""
    raise NotImplementedError


def clash_of(guidance: Guidance) -> Clash | None:
    """Return the smallest sets of choices that clash, None where the choices stand together."""
    raise NotImplementedError
