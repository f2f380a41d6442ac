"""Execution time of the core: the same in every run, held to the stored figures."""

import json
from pathlib import Path
from random import Random

import pytest
from click.testing import CliRunner

from hil.boards.emulator import Emulator
from hil.firmware.programs import build
from hil.measuring import figures
from hil.measuring.corpus import Times
from hil.measuring.meter import Meter, Plan
from hil.measuring.report import Found, Request
from hil.measuring.samples import Samples, bars
from hil.measuring.search import Worst, plan_of, random_try, search
from tests.core.test_bridge import PAIRINGS
from tools.cli.board_measure import command
from tools.environment import ARM_COMPILER, EMULATOR
from xlate_core.bridge import Bridge, Inputs, ResetCause
from xlate_core.errors import InputError
from xlate_core.pairing import load

MISSING = [need for need in (EMULATOR, ARM_COMPILER) if not need.present()]
needs_board = pytest.mark.skipif(
    bool(MISSING), reason="; ".join(f"needs {need.what}. {need.how}" for need in MISSING)
)
REQUEST = Request(vectors=None, ticks=1, tries=60, seed=1, bound=False)
"""What is held to the stored figures in the tests: the search alone, which is short."""


@pytest.mark.long(13)
@needs_board
@pytest.mark.slow
def test_counts_repeat_and_the_board_computes_what_the_reference_does(tmp_path: Path) -> None:
    pairing = load(PAIRINGS / "minimal")
    built = build(pairing, "stm32f405", tmp_path, "measure")
    counts = []
    for _ in range(2):
        with Emulator(built.path, counting=True) as machine:
            meter = Meter(machine.line, pairing)
            worst = search(meter, pairing, 12, 5)
            inputs = Inputs(
                tuple(False for _ in pairing.spec.pins.levels),
                tuple(0 for _ in pairing.spec.pins.analogues),
            )
            plan = Plan()
            plan.reset()
            plan.tick(inputs)
            plan.idle(50)
            times = meter.run(plan)
            bridge = Bridge(pairing.spec)
            bridge.reset(ResetCause.COMMANDED)
            for _ in range(51):
                bridge.tick(inputs)
            assert meter.digest() == bridge.digest()
            assert 0 < meter.stack() < 1024
            counts.append((worst.counts, times, meter.stack()))
    assert counts[0] == counts[1]
    assert len(counts[0][1]) == 52
    assert all(0 < time < 20_000 for time in counts[0][1][1:])


@needs_board
@pytest.mark.slow
def test_no_figure_of_the_whole_car_grew_without_a_reason(tmp_path: Path) -> None:
    found = figures.on_emulator(load(PAIRINGS / "farm_pickup"), REQUEST, tmp_path)
    assert found.worst.counts > 0
    stored = figures.read("farm_pickup")["figures"]
    grown = figures.growth(found)
    assert grown == [], "\n".join(grown)
    assert set(figures.key_figures(found)) <= set(stored)


def found_with(most: int) -> Found:
    found = Found("farm_pickup", 168_000_000)
    found.worst = Worst(most, None, 1)
    return found


def test_growth_beyond_5_percent_is_told_and_less_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(figures, "FOLDER", tmp_path)
    with pytest.raises(InputError, match="no stored figures"):
        figures.growth(found_with(1000))
    with pytest.raises(InputError, match="expected the reason"):
        figures.store(found_with(1000), " ")
    figures.store(found_with(1000), "first figures of this firmware")
    assert figures.growth(found_with(1050)) == []
    assert "from 1000 to 1051" in figures.growth(found_with(1051))[0]
    figures.store(found_with(1051), "a longer search finds a longer tick")
    stored = json.loads(figures.path_of("farm_pickup").read_text(encoding="utf-8"))
    assert stored["figures"]["tick_most_in_search"] == 1051
    assert len(stored["reasons"]) == 2


def test_samples_keep_extremes_and_the_input_of_the_longest() -> None:
    samples = Samples()
    for time, where in ((400, "a"), (1900, "b"), (1900, "c"), (30, "d")):
        samples.add(time, where)
    assert (samples.least, samples.most, samples.where, samples.count) == (30, 1900, "b", 4)
    assert samples.bins == {0: 1, 1: 1, 7: 2}
    other = Times()
    other.tick.merge(samples)
    assert other.tick.plain()["histogram"] == {"0": 1, "250": 1, "1750": 2}
    assert len(bars(other.tick)) == 8


def test_a_try_is_the_same_for_the_same_seed() -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    one, other = (plan_of(spec, random_try(spec, Random(3))) for _ in range(2))
    assert one == other
    assert one != plan_of(spec, random_try(spec, Random(4)))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--update", " "], '--update: found " ", expected the reason in a few words'),
        (["--compare"], "found no stored figures; store them with --update"),
    ],
)
def test_what_cannot_be_stored_or_compared_is_told_before_the_measurement(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], said: str
) -> None:
    monkeypatch.setattr(figures, "FOLDER", tmp_path)
    answer = CliRunner().invoke(command, ["--board", "emulated", *words])
    assert isinstance(answer.exception, InputError)
    assert said in str(answer.exception)
    assert answer.output == ""


def test_a_wrong_board_name_is_bad_input() -> None:
    answer = CliRunner().invoke(command, ["--board", "emulatd", "--tries", "1"])
    assert isinstance(answer.exception, InputError)
    assert "expected `emulated`, a port, a URL or host:port" in str(answer.exception)
    assert str(answer.exception).endswith("; nearest valid name: emulated")
    answer = CliRunner().invoke(command, ["--board", ""])
    assert str(answer.exception).startswith('--board: found "", expected `emulated`')
    answer = CliRunner().invoke(command, ["--board", "localhost:1", "--update", "a longer search"])
    assert isinstance(answer.exception, InputError)
    assert "the stored figures are instructions" in str(answer.exception)
