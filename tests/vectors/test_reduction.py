"""Failing vectors, cut to what is needed: on broken copies of the C core and on broken boards."""

import random
import shutil
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.interface import Identity
from hil.boards.native_library import NativeLibraryBoard
from hil.boards.reference import ReferenceBoard
from hil.comparison import compare
from hil.differences import Kind
from hil.firmware.building import CORE, build_library
from hil.reduced_scenario import scenario_text
from hil.reduction import Event, ddmin, events_of, first_failure, reduce_events
from hil.repetition import stimulus
from hil.vectors.generation import generate
from hil.vectors.names import names_of
from hil.vectors.vector import load_vector
from tests.vectors.helpers import vector as vector_of
from tools.cli.main import main
from tools.environment import C_COMPILER
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import Frame
from xlate_core.pairing import load
from xlate_core.pairing.model import Pairing

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


class Forgetful(ReferenceBoard):
    """A board that forgets a frame after every so many."""

    def __init__(self, *arguments: object, every: int) -> None:
        """Take the pairing, and which frames are forgotten."""
        super().__init__(*arguments)  # type: ignore[arg-type]
        self.every = every
        self.seen = 0

    def identity(self) -> Identity:
        """Say what this is."""
        return super().identity()._replace(board="forgetful")

    def reset(self, cause: ResetCause, keep: bool) -> None:
        """Start counting anew."""
        self.seen = 0
        super().reset(cause, keep)

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Forget one frame now and then."""
        heard = []
        for frame in frames:
            self.seen += 1
            if self.seen % self.every:
                heard.append(frame)
        return super().step(inputs, tuple(heard))


def test_ddmin_finds_the_two_events_that_matter() -> None:
    chance = random.Random(5)
    for _ in range(50):
        events = [Event(tick) for tick in range(chance.randrange(2, 200))]
        needed = set(chance.sample(range(len(events)), k=min(2, len(events))))

        def fails(part: Sequence[Event], needed: set[int] = needed) -> bool:
            return needed <= {event.tick for event in part}

        assert {event.tick for event in ddmin(events, fails)} == needed


def test_ddmin_of_a_failure_that_needs_nothing_is_empty() -> None:
    assert ddmin([Event(1), Event(2), Event(3)], lambda part: True) == []


def test_a_board_that_passes_has_nothing_to_reduce() -> None:
    names = names_of(load(FIXTURES / "pairings" / "minimal"))
    vector = load_vector(FIXTURES / "vectors" / "minimal" / "fan_on_loss.vector")
    events = events_of(stimulus(vector, names), names, vector.header.ticks)
    assert events
    board = ReferenceBoard(names.pairing)
    assert reduce_events(events, names, board, Kind.PIN, 50, lambda *_: None) is None


def test_a_forgetful_board_is_shown_with_one_frame_more_than_it_takes(tmp_path: Path) -> None:
    """It forgets every fourth frame, so three frames and one that matters are enough."""
    names = names_of(load(FIXTURES / "pairings" / "minimal"))
    vector = load_vector(FIXTURES / "vectors" / "minimal" / "fan_hysteresis.vector")
    board = Forgetful(names.pairing, every=4)
    run = compare(vector, names, board)
    assert run.difference is not None
    ticks = run.difference.tick + 1
    events = events_of(islice(stimulus(vector, names), ticks), names, ticks)
    reduced = reduce_events(
        events, names, board, run.difference.kind, run.difference.tick, lambda *_: None
    )
    assert reduced is not None
    assert len(reduced.events) < len(events)
    # No single event can be left out.
    for place in range(len(reduced.events)):
        fewer = [*reduced.events[:place], *reduced.events[place + 1 :]]
        failure = first_failure(fewer, names, board, ticks + 50, False)
        assert failure is None or failure.kind is not reduced.failure.kind
    # The scenario states what the reference does, so it generates.
    path = tmp_path / "reduced_fan_hysteresis.scenario"
    text = scenario_text(path.stem, vector.path.name, "forgetful", reduced, names)
    path.write_text(text, encoding="utf-8")
    generated = generate(path, names)
    assert generated.disagreements == ()
    assert generated.expectations >= 1
    # And its vector fails on the board in the same tick.
    written = tmp_path / "reduced_fan_hysteresis.vector"
    written.write_bytes(generated.content)
    again = compare(load_vector(written), names, board)
    assert again.difference is not None
    assert again.difference.tick == reduced.failure.tick


@pytest.mark.skipif(not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}")
def test_a_broken_core_is_shown_with_few_events(tmp_path: Path) -> None:
    names = names_of(load(FIXTURES / "pairings" / "minimal"))
    core = tmp_path / "core"
    shutil.copytree(CORE, core)
    file = core / "reception.c"
    text = file.read_text(encoding="utf-8")
    assert text.count("return state->age >= deadline;") == 1
    file.write_text(
        text.replace("return state->age >= deadline;", "return state->age > deadline;"),
        encoding="utf-8",
    )
    library = build_library(names.pairing, tmp_path, core=core)
    board = NativeLibraryBoard(names.pairing, library)
    vector = load_vector(FIXTURES / "vectors" / "minimal" / "fan_on_loss.vector")
    run = compare(vector, names, board)
    assert run.difference is not None
    ticks = run.difference.tick + 1
    events = events_of(islice(stimulus(vector, names), ticks), names, ticks)
    reduced = reduce_events(
        events, names, board, run.difference.kind, run.difference.tick, lambda *_: None
    )
    assert reduced is not None
    assert len(reduced.events) <= 3  # the key, and one or two frames before the silence
    assert "expect " in scenario_text("x", "y", "native", reduced, names)


def test_reduce_says_so_when_the_vector_passes() -> None:
    vector = FIXTURES / "vectors" / "minimal" / "fan_on_loss.vector"
    result = CliRunner().invoke(main, ["vectors", "reduce", str(vector), "--board", "reference"])
    assert result.exit_code == 2
    assert "passes on reference, so there is nothing to reduce" in result.stderr


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--board", "nativ"], 'did you mean "native"?'),
        (["--board", "reference", "--out", "x.vector"], "a name that ends in .scenario"),
    ],
)
def test_reduce_refuses_bad_input(more: list[str], said: str) -> None:
    vector = FIXTURES / "vectors" / "minimal" / "fan_on_loss.vector"
    result = CliRunner().invoke(main, ["vectors", "reduce", str(vector), *more])
    assert result.exit_code == 2
    assert said in result.stderr


def test_reduce_writes_the_scenario(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def forgetful(name: str, pairing: Pairing, options: object) -> Forgetful:
        del name, options
        return Forgetful(pairing, every=4)

    monkeypatch.setattr("hil.boards.registry.open_board", forgetful)
    vector = FIXTURES / "vectors" / "minimal" / "fan_hysteresis.vector"
    out = tmp_path / "cut.scenario"
    arguments = ["vectors", "reduce", str(vector), "--board", "native", "--out", str(out)]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    assert "differs at tick" in result.stdout
    assert out.read_text(encoding="utf-8").startswith("# Reduced from fan_hysteresis.vector")


def test_a_random_vector_is_reduced_like_any_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sample = vector_of(tmp_path, "random seed 7 style driving\n", "400 ms")
    monkeypatch.setattr(
        "hil.boards.registry.open_board", lambda name, pairing, options: Forgetful(pairing, every=4)
    )
    out = tmp_path / "cut.scenario"
    arguments = ["vectors", "reduce", str(sample.path), "--board", "native", "--out", str(out)]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    assert "differs at tick" in result.stdout
    assert out.read_text(encoding="utf-8").startswith("# Reduced from sample.vector: ")
