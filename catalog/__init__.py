"""The facts of a workshop: what it has, what it makes, what it charges."""
