"""What a person did wrong: the one class of error that ends a command with exit code 2.

A bad frame from a bus is normal life and never an exception; it is counted and told as an event.
"""


class InputError(Exception):
    """Input of a person that cannot be used: one message a line, nothing half-written."""


def reason_of(error: Exception) -> str:
    """Return why a file cannot be used, in a few words: its name stands beside them."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    if isinstance(error, UnicodeDecodeError):
        return f"octet 0x{error.object[error.start]:02X} at {error.start} is no text in UTF-8"
    return " ".join(str(error).split()) or type(error).__name__


def readable(text: str) -> str:
    """Return text out of a file as a terminal may show it: what is no print as its code."""
    return "".join(one if one.isprintable() else ascii(one)[1:-1] for one in text)
