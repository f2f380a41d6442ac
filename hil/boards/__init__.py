"""Boards: anything that runs vectors."""
