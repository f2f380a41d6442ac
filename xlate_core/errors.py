"""What a person did wrong: the one class of error that ends a command with exit code 2.

A bad frame from a bus is normal life and never an exception; it is counted and told as an event.
"""


class InputError(Exception):
    """Input of a person that cannot be used: one message a line, nothing half-written."""
