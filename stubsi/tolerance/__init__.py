"""Owns what tolerances do to a board: limits and distributions, boards as built, and the worst case of every net."""
