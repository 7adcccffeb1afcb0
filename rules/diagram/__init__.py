"""Decision diagrams over slots: what can still be chosen, at what price, in how many ways.

Knows nothing of leather. A *slot* takes one of its values, a *constraint* says which combinations of values may stand
together, or what a combination costs. Compiled, the constraints of a problem answer for every value of every slot at
once (:class:`rules.diagram.diagram.Diagram`).
"""
