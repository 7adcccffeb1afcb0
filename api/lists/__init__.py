"""Wish lists: many specs at once, from the sheet that a caller already has and back into it."""
