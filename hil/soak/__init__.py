"""Endless comparison: random small pairings and traffic, reference and board side by side."""
