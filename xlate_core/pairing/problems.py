"""One problem of a pairing, and the collection of all problems of one run.

A problem names the file, the line, the key path, what was found, what is expected and, for a name,
the nearest valid one. All problems are collected before the load gives up.
"""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from xlate_core.errors import InputError
from xlate_core.pairing.positions import KeyPath, Positions, show_path

BRIDGE_FILE = "bridge.toml"


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong at one place; `line` counts from 1, None where the file has no such line."""

    file: str
    line: int | None
    key_path: str
    found: str
    expected: str
    nearest: str | None = None

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        path = f" {self.key_path}:" if self.key_path else ""
        hint = "" if self.nearest is None else f"; nearest valid name: {self.nearest}"
        return f"{place}:{path} found {self.found}, expected {self.expected}{hint}"


class PairingError(InputError):
    """A pairing that cannot be used, with every problem found in it.

    `folder` is where its files are; the message names it, so that it is clear whose they are.
    """

    def __init__(self, problems: Iterable[Problem], folder: Path | None = None) -> None:
        self.problems = tuple(problems)
        before = "" if folder is None else f"{folder.as_posix()}/"
        super().__init__("\n".join(f"{before}{problem}" for problem in self.problems))


@dataclass(slots=True)
class Collector:
    """Collects problems and notes while a pairing is read; `positions` turns key paths to lines."""

    positions: Positions
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def add(self, path: KeyPath, found: str, expected: str, nearest: str | None = None) -> None:
        """Add a problem at a key path of bridge.toml, or of the option that wrote it."""
        self._append(problem_at(self.positions, path, found, expected, nearest))

    def add_unknown(self, path: KeyPath, kind: str, name: str, valid: Iterable[str]) -> None:
        """Add the problem of a name that does not exist, with the nearest that does."""
        names = sorted(valid)
        self.add(path, f'"{name}"', f"the name of {kind}", nearest_name(name, names))

    def add_file(
        self,
        file: str,
        line: int | None,
        key_path: str,
        found: str,
        expected: str,
        nearest: str | None = None,
    ) -> None:
        """Add a problem of another file of the pairing, a network database."""
        self._append(Problem(file, line, key_path, found, expected, nearest))

    def note(self, text: str) -> None:
        """Add a note: worth knowing, no reason to refuse."""
        if text not in self.notes:
            self.notes.append(text)

    def raise_if_any(self) -> None:
        """Give up with all problems found so far, in the order of files and lines."""
        if self.problems:
            raise PairingError(sorted(self.problems, key=_place))

    def _append(self, problem: Problem) -> None:
        if problem not in self.problems:
            self.problems.append(problem)


def _place(problem: Problem) -> tuple[bool, str, int]:
    return (problem.file != BRIDGE_FILE, problem.file, problem.line or 0)


def problem_at(
    positions: Positions, path: KeyPath, found: str, expected: str, nearest: str | None = None
) -> Problem:
    """Return a problem at a key path, with file and line."""
    file, line = positions.place(path)
    return Problem(file, line, show_path(path), found, expected, nearest)


def nearest_name(name: str, valid: Iterable[str]) -> str | None:
    """Return another valid name that looks most like the one found; None if nothing is close."""
    by_fold = {candidate.casefold(): candidate for candidate in valid if candidate != name}
    close = difflib.get_close_matches(name.casefold(), by_fold, n=1, cutoff=0.5)
    return by_fold[close[0]] if close else None
