"""Scenarios written by a person, vectors the reference makes of them."""
