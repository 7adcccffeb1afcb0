"""The demo workshop's refusals written a second time, as one constraint model, to test what calls a choice closed.

Written from the texts: the trade's handbook, the reasons and limits of the rule book, the house's own rules. Nothing
of :mod:`rules` or :mod:`api` is imported, so an error there is not repeated here. The solver is CP-SAT: what it calls
infeasible has no completion, whichever leathers, sides, lots and supplies are tried.
"""

from support.independent.model import Answer, IndependentModel

__all__ = ["Answer", "IndependentModel"]
