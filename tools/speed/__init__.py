"""How fast the reference is, measured; never part of pass or fail."""
