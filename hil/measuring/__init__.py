"""Execution time of the firmware core on its board."""
