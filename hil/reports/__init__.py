"""Reports of a run for machines: JSON and JUnit."""
