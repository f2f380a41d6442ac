"""How well corpus and fuzzer look at the C core: decision coverage, mutants, fuzz targets."""

from pathlib import Path

import pytest

from hil.boards.interface import BoardError
from hil.firmware import coverage, fuzzing
from hil.mutation import making, survey, trial
from hil.mutation.making import Mutant
from hil.mutation.trial import CORE, Fate, judge, prepare
from hil.runner import Pairings
from tests.core.test_bridge import PAIRINGS
from tools.environment import C_COMPILER, COVERAGE, FUZZER
from xlate_core.pairing import load

VECTORS = PAIRINGS.parent / "vectors"
NAMES = sorted(path.name for path in VECTORS.iterdir() if path.is_dir())


def needs(requirement):  # type: ignore[no-untyped-def]
    return pytest.mark.skipif(
        not requirement.present(), reason=f"needs {requirement.what}. {requirement.how}"
    )


@pytest.mark.long(40)
@needs(COVERAGE)
@pytest.mark.slow
def test_the_corpora_take_nearly_every_decision_and_the_rest_has_a_reason(tmp_path: Path) -> None:
    found = coverage.measure(Pairings(PAIRINGS, load, {}), NAMES, VECTORS, tmp_path)
    assert found.ways > 700
    assert found.percent_tenths() >= 950
    known = coverage.reasons()
    unknown = [one for one in found.missing if (one.file, one.text, one.way) not in known]
    # A few new decisions may wait for their reason; the command lists them and fails on them.
    assert len(unknown) <= found.ways // 100, unknown


@needs(C_COMPILER)
@pytest.mark.slow
def test_a_trial_tells_caught_survived_equal_hung_and_not_built(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trial, "RUN_S", 3.0)
    pairings = Pairings(PAIRINGS, load, {})
    ranges = [prepare(load(PAIRINGS / "minimal"), VECTORS / "minimal", pairings, tmp_path / "m")]
    text = (CORE / "reception.c").read_text(encoding="utf-8")

    def fate(right: str, wrong: str) -> Fate:
        assert text.count(right) == 1
        return judge(ranges, "reception.c", text.replace(right, wrong), tmp_path / "t")[0]

    late = "return state->age >= deadline;"
    assert fate(late, "return state->age > deadline;") is Fate.CAUGHT
    assert fate(late, "return !(state->age < deadline);") is Fate.EQUAL
    assert fate(late, "return state->age >= dead_line;") is Fate.NOT_BUILT
    assert fate(late, "for (;;) { }") is Fate.HUNG
    assert fate(late, "return *(volatile uint8_t *)0;") is Fate.CRASHED
    assert fate("state->short_ = xb_count(state->short_);", "state->short_ = 1u;") is Fate.CAUGHT


def mutants(count: int) -> list[Mutant]:
    return [Mutant("arithmetic.c", 1 + i, "a", "b", f"text {i}") for i in range(count)]


def test_a_survey_counts_only_different_programs(monkeypatch: pytest.MonkeyPatch) -> None:
    fates = [Fate.CAUGHT, Fate.EQUAL, Fate.NOT_BUILT, Fate.SURVIVED, Fate.HUNG, Fate.CRASHED] * 4

    def judged(ranges: object, file: str, text: str, folder: Path) -> tuple[Fate, str]:
        return fates[int(text.split()[1])], ""

    monkeypatch.setattr(survey, "judge", judged)
    found = survey.survey(mutants(24), [], 8, Path("unused"))
    assert found.judged == 8
    assert found.killed == 4
    assert found.percent_tenths() == 500
    assert {fate for _, fate in found.alive} == {Fate.SURVIVED, Fate.HUNG}


def test_one_more_file_leaves_the_order_in_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def made(source: Path, core: Path) -> list[Mutant]:
        return [Mutant(source.name, line, "a", "b", "") for line in range(1, 30)]

    monkeypatch.setattr(making, "mutants_of", made)
    monkeypatch.setattr(making.importlib.util, "find_spec", lambda name: object())
    for name in ("a.c", "c.c"):
        (tmp_path / name).touch()
    before = [one.line for one in making.make(1, tmp_path) if one.file == "c.c"]
    assert before != sorted(before), "in an order of its own"
    assert before != [one.line for one in making.make(2, tmp_path) if one.file == "c.c"]
    (tmp_path / "b.c").touch()
    assert [one.line for one in making.make(1, tmp_path) if one.file == "c.c"] == before


def test_a_pairing_that_does_not_use_a_file_is_not_asked(tmp_path: Path) -> None:
    without = trial.Range("minimal", tmp_path, {"reception.c": tmp_path / "reception.o"})
    fate = judge([without], "functions/starter.c", "not even C", tmp_path / "t")
    assert fate == (Fate.EQUAL, "")


def test_lines_without_code_make_no_mutants() -> None:
    text = "/* one\n * two */\nint a;\n\n#include <b.h>\nint c; /* d */\n"
    assert [making.holds_code(text, line) for line in range(1, 7)] == [
        False, False, True, False, False, True,
    ]  # fmt: skip
    assert making.changed_line(text, text.replace("int a;", "int b;")) == (3, "int a;", "int b;")


@needs(FUZZER)
@pytest.mark.slow
@pytest.mark.parametrize("target", fuzzing.TARGETS)
def test_a_short_fuzz_finds_nothing(target: str, tmp_path: Path) -> None:
    program = fuzzing.build(load(PAIRINGS / "farm_pickup"), target, tmp_path)
    found = fuzzing.run(program, target, tmp_path, 5, 1)
    assert found.finding is None, found.words
    assert found.runs > 10


@needs(FUZZER)
@pytest.mark.slow
def test_the_fuzzer_finds_what_is_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "fuzz"
    folder.mkdir()
    text = (fuzzing.FOLDER / "receive.c").read_text(encoding="utf-8")
    right = "demand(outputs.frame_counts[bus] <= XB_FRAME_SLOTS);"
    assert text.count(right) == 1
    broken = text.replace(right, "demand(outputs.frame_counts[bus] == 0u);")
    (folder / "receive.c").write_text(broken, encoding="utf-8")
    monkeypatch.setattr(fuzzing, "FOLDER", folder)
    program = fuzzing.build(load(PAIRINGS / "farm_pickup"), "receive", tmp_path)
    found = fuzzing.run(program, "receive", tmp_path, 20, 1)
    assert found.finding is not None
    assert found.finding.is_file()


def test_without_clang_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzzing.shutil, "which", lambda name: None)
    with pytest.raises(BoardError, match="no fuzzer: needs clang"):
        fuzzing.build(load(PAIRINGS / "minimal"), "receive", tmp_path)
    with pytest.raises(BoardError, match="no coverage tool"):
        coverage.gcovr()
