"""Whether the edge stands out against the outside, as the price list and the measures see it."""

from __future__ import annotations

from catalog.color import de00_milli
from rules.piece import Piece


def contrasts(piece: Piece) -> bool:
    """Whether an offered edge paint, not a match, lies far from the outside in color."""
    edge, outside, pattern = piece.edge, piece.outside, piece.pattern
    if edge is None or edge.finish != "paint" or piece.matches_edge:
        return False
    if pattern is None or "paint" not in pattern.edge_finishes:
        return False
    if edge.swatch is None or outside is None or outside.leather is None:
        return False
    return de00_milli(edge.swatch, outside.leather.swatch) > piece.threshold("contrast_color_de00")
