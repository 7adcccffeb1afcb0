"""Exact guidance: what can still be chosen, at what price, and what stands in the way."""
