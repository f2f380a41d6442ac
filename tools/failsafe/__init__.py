"""The failsafe behaviour table: what a person requires, and what the bridge was seen to do."""
