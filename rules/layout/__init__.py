"""Layout: whether rectangular panels lie in the free rectangles of one lot of leather.

Theory of operation. Every panel and every rectangle is enlarged by the gap, so that two panels
a gap apart are two enlarged ones that do not overlap (:mod:`rules.layout.panels`). Then:

1. proofs that there is no layout: size, area, counts (:mod:`rules.layout.bounds`);
2. a constructive search, by blocks and singly (:mod:`rules.layout.construct`);
3. up to ``EXACT_UP_TO`` panels, an exact search: which panels to which rectangle
   (:mod:`rules.layout.assign`), and for one rectangle the places along
   (:mod:`rules.layout.sweep`), then across (:mod:`rules.layout.settle`).

Pure and deterministic: whole micrometers, bounded by counted steps, never by time.
"""

from rules.layout.decide import EXACT_UP_TO, lay_out
from rules.layout.panels import Layout, Piece, Placement, Rect
from rules.layout.verify import verify

__all__ = ["EXACT_UP_TO", "Layout", "Piece", "Placement", "Rect", "lay_out", "verify"]
