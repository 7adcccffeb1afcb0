"""Exact guidance: what can still be chosen, at what price, and what stands in the way."""

from rules.guide.answer import Guidance, Guided, Option, guide

__all__ = ["Guidance", "Guided", "Option", "guide"]
