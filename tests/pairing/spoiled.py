"""One thing spoiled in the small pairing, and how its problem must be told."""

from pathlib import Path
from typing import NamedTuple

import pytest

from tests.pairing.small import line_of, write
from xlate_core.pairing import PairingError, Problem, load

BRIDGE, BODY, ENGINE = "bridge.toml", "body.dbc", "engine.dbc"


class Case(NamedTuple):
    """One thing spoiled, and the problem it must give; `line` is a text that stands in its line."""

    name: str
    changes: list[tuple[str, str, str]]
    line: str
    key_path: str
    found: str
    expected: str
    nearest: str | None = None
    file: str = BRIDGE


def bridge(old: str, new: str) -> list[tuple[str, str, str]]:
    return [(BRIDGE, old, new)]


def added(text: str) -> list[tuple[str, str, str]]:
    return [(BRIDGE, "[curve.sender_curve]\n", f"{text}\n[curve.sender_curve]\n")]


def body(old: str, new: str) -> list[tuple[str, str, str]]:
    return [(BODY, old, new)]


def engine(old: str, new: str) -> list[tuple[str, str, str]]:
    return [(ENGINE, old, new)]


def problems_of(folder: Path) -> tuple[Problem, ...]:
    with pytest.raises(PairingError) as caught:
        load(folder)
    return caught.value.problems


def told_in_its_place(case: Case, tmp_path: Path) -> None:
    """Assert that the case gives its one problem in its place."""
    folder = write(tmp_path, *case.changes)
    problems = problems_of(folder)
    matching = [
        problem
        for problem in problems
        if case.found in problem.found
        and case.expected in problem.expected
        and case.key_path == problem.key_path
    ]
    assert len(matching) == 1, "\n".join(map(str, problems))
    problem = matching[0]
    assert problem.file == case.file
    assert problem.line == line_of(folder, case.file, case.line)
    if case.nearest is not None:
        assert problem.nearest == case.nearest
    assert problem.nearest is None or problem.nearest in str(problem)
    assert len(str(problem).splitlines()) == 1
