"""Frontier: the set-point lines that no other line beats."""
