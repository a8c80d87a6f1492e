"""Owns what tolerances do to a board: boards as built, worst case, yield, what dominates it and what to ask for."""
