"""Counted work, so that no answer depends on the speed of a machine."""

from __future__ import annotations


class BudgetSpentError(Exception):
    """The counted steps are used up; nothing is proven."""


class Budget:
    """Steps left to a search."""

    __slots__ = ("left",)

    def __init__(self, steps: int) -> None:
        """Allow a number of steps."""
        self.left = steps

    def spend(self, steps: int = 1) -> None:
        """Count steps.

        Raises:
            BudgetSpentError: More were taken than allowed.
        """
        self.left -= steps
        if self.left < 0:
            raise BudgetSpentError
