"""`xlate vectors generate --changed` looks at what changed, and at nothing else."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from hil.vectors import unchanged
from tests.vectors.helpers import ROOT
from tests.vectors.test_commands import BODY, stored, write_scenario, xlate


@pytest.fixture
def corpus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two scenarios, their pairing and their vectors, all right."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    shutil.copytree(ROOT / "fixtures" / "pairings" / "minimal", tmp_path / "pairings" / "minimal")
    for name in ("sample", "other"):
        write_scenario(tmp_path, BODY, name)
    assert generate(tmp_path).startswith("2 of 2 vectors written\n")
    return tmp_path


def generate(folder: Path, *options: str) -> str:
    where = ("--vectors", folder / "vectors", "--pairings", folder / "pairings")
    result = xlate("generate", *options, folder / "scenarios", *where)
    assert result.exit_code in (0, 1), result.output
    return result.output


def edit_pairing(folder: Path) -> None:
    file = folder / "pairings" / "minimal" / "bridge.toml"
    file.write_text(file.read_text(encoding="utf-8") + "# a word\n", encoding="utf-8")


def spoil_vector(folder: Path) -> None:
    stored(folder).write_bytes(stored(folder).read_bytes() + b"\n")


def edit_scenario(folder: Path) -> None:
    write_scenario(folder, BODY + "# a word\n")


def nothing(_: Path) -> None:
    """Change nothing."""


@pytest.mark.parametrize(
    ("change", "written"),
    [
        (nothing, 0),
        (edit_scenario, 1),
        (spoil_vector, 1),
        (lambda folder: stored(folder).unlink(), 1),
        (edit_pairing, 2),
    ],
)
def test_what_changed_is_looked_at(
    corpus: Path, change: Callable[[Path], None], written: int
) -> None:
    change(corpus)
    told = generate(corpus, "--changed")
    alike = f", {2 - written} as they were" if written < 2 else ""
    assert told == f"{written} of 2 vectors written{alike}\n"
    assert generate(corpus, "--changed") == "0 of 2 vectors written, 2 as they were\n"


def test_another_reference_is_looked_at_whole(
    corpus: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(unchanged, "SOURCES", ("xlate_core", "hil/vectors", "hil/runner.py"))
    assert generate(corpus, "--changed") == "2 of 2 vectors written\n"


def test_what_the_reference_disagrees_with_is_never_as_it_was(corpus: Path) -> None:
    write_scenario(corpus, BODY + "expect output fan_relay active at 50 ms\n")
    for _ in range(2):
        told = generate(corpus, "--changed")
        assert "0 of 2 vectors written, 1 as they were" in told
        assert "the reference disagrees with 1 expectations" in told


def test_a_part_of_the_corpus_forgets_nothing_of_the_rest(corpus: Path) -> None:
    where = ("--vectors", corpus / "vectors", "--pairings", corpus / "pairings")
    one = corpus / "scenarios" / "minimal" / "sample.scenario"
    assert xlate("generate", "--changed", one, *where).exit_code == 0
    assert generate(corpus, "--changed") == "0 of 2 vectors written, 2 as they were\n"


def test_a_list_that_cannot_be_read_costs_time_only(corpus: Path) -> None:
    for file in (corpus / "cache" / "xlate").glob("unchanged_*"):
        file.write_bytes(b"\xff\xfe")
    assert generate(corpus, "--changed") == "2 of 2 vectors written\n"
