"""Audit of the book: what in it has no effect, contradicts itself, or is held by no example."""
