"""Errors of scenario and vector files: one sentence with file, line, found and expected."""

import difflib
from collections.abc import Iterable
from pathlib import Path

from xlate_core.errors import InputError


def nearest(word: str, names: Iterable[str]) -> str:
    """Return `; nearest: NAME` for the valid name most like the word, or nothing.

    The word itself is no answer: a folder may stand where a file is expected.
    """
    candidates = sorted(name for name in names if name != word)
    found = difflib.get_close_matches(word, candidates, n=1, cutoff=0.5)
    if not found:
        lowered = {name.lower(): name for name in candidates}
        close = difflib.get_close_matches(word.lower(), lowered, n=1, cutoff=0.5)
        found = [lowered[name] for name in close]
    return f"; nearest valid name: {found[0]}" if found else ""


class ScenarioError(InputError):
    """A mistake in a scenario file."""


class VectorError(InputError):
    """A vector file that cannot be used: damaged, of another pairing, or of other rules."""


def at_line(path: Path | str, line: int, message: str) -> str:
    """Return the one sentence of an error at a line of a file."""
    return f"{path}:{line}: {message}"
