"""The firmware twin: C99 core, and the generation of its tables and state records."""
