"""The project's own scenarios, vectors and hunt flags belong together."""

from pathlib import Path

import pytest

from hil.vectors.corpus import load_flags
from hil.vectors.vector import SUFFIXES, load_vector
from tests.vectors.helpers import ROOT

FIXTURES = ROOT / "fixtures"
VECTORS = sorted(path for path in (FIXTURES / "vectors").rglob("*") if path.name.endswith(SUFFIXES))
SCENARIOS = sorted((FIXTURES / "scenarios").rglob("*.scenario"))


def header_words(path: Path, key: str) -> list[str]:
    lines = [line.split("#")[0].split() for line in path.read_text(encoding="utf-8").splitlines()]
    return next(line[1:] for line in lines if line[:1] == [key])


def test_every_flag_is_explained_once_and_hunted() -> None:
    explained = load_flags(FIXTURES / "flags.toml")
    used = {flag for path in SCENARIOS for flag in header_words(path, "hunts")}
    assert used == set(explained)
    assert all(text.endswith(".") and len(text) > 20 for text in explained.values())


def test_every_scenario_stands_in_the_folder_of_its_pairing() -> None:
    assert SCENARIOS
    for path in SCENARIOS:
        assert header_words(path, "pairing") == [path.parent.name]
        assert header_words(path, "scenario") == [path.stem]


def test_every_scenario_has_its_vector_and_nothing_else_is_there() -> None:
    wanted = {f"{path.parent.name}/{path.stem}" for path in SCENARIOS}
    found = {f"{path.parent.name}/{path.name.split('.')[0]}" for path in VECTORS}
    assert found == wanted


@pytest.mark.parametrize("path", VECTORS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_vector_is_whole(path: Path) -> None:
    vector = load_vector(path)
    assert vector.header.identity == path.name.split(".")[0]
    assert vector.header.pairing == path.parent.name
