"""Boards that are wrong in one way: the runner finds the tick, names the kind and explains it."""

from pathlib import Path

import pytest

from hil.boards.interface import (
    BoardError,
    BoardProtocolError,
    BoardResetError,
    BoardTimeoutError,
    Identity,
)
from hil.comparison import compare
from hil.differences import Kind
from hil.disturbed_runs import rewritten
from hil.runner import run_vector
from hil.vectors.generation import generate
from hil.vectors.vector import Vector, load_vector, write_vector
from hil.verdicts import Verdict
from tests.vectors import broken
from tests.vectors.broken import BrokenBoard, Spoil
from tests.vectors.helpers import HEADER, names, vector
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import Frame

BODY = """\
send engine.STATE every 2 ms
set engine.STATE.Speed 850
at 10 ms set input key_switch active
"""
AGAIN = "xlate vectors run sample.vector"


@pytest.fixture
def sample(tmp_path: Path) -> Vector:
    return vector(tmp_path, BODY)


def test_the_reference_agrees_with_its_own_vector(sample: Vector) -> None:
    result = run_vector(sample, names(), BrokenBoard(), AGAIN)
    assert result.verdict is Verdict.PASS
    assert (result.ticks, result.frames_in, result.checkpoints) == (100, 50, 1)
    assert result.frames_out >= 10
    assert result.explanation == ()


@pytest.mark.parametrize(
    ("spoil", "kind", "tick", "shift"),
    [
        (broken.value, Kind.VALUE, 41, 0),
        (broken.truncated, Kind.TRUNCATED, 41, 0),
        (broken.missing, Kind.MISSING, 41, 0),
        (broken.extra, Kind.EXTRA, 45, 0),
        (broken.late, Kind.LATE, 41, 2),
        (broken.early, Kind.EARLY, 39, 2),
        (broken.pin, Kind.PIN, 44, 0),
        (broken.hold, Kind.PIN, 44, 0),
        (broken.command, Kind.PIN, 44, 0),
        (broken.state, Kind.STATE, 99, 0),
    ],
)
def test_the_first_difference_has_its_tick_and_kind(
    sample: Vector, spoil: Spoil, kind: Kind, tick: int, shift: int
) -> None:
    difference = compare(sample, names(), BrokenBoard(spoil)).difference
    assert difference is not None
    assert (difference.kind, difference.tick, difference.shift) == (kind, tick, shift)


def test_the_order_on_a_bus_counts(tmp_path: Path) -> None:
    """Two routed messages of one tick, handed over the other way round."""
    path = tmp_path / "sample.scenario"
    body = (
        "set input ignition_switch active\n"
        "at 40 ms send body.TESTER_QUERY once\nat 40 ms send body.CLOCK once\n"
    )
    text = HEADER.format(pairing="farm_pickup", lasts="60 ms") + body
    path.write_text(text, encoding="utf-8")
    result = generate(path, names("farm_pickup"))
    sample = load_vector(write_vector(tmp_path, "sample", result.content))

    def swap(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
        if tick < 40:
            return outputs
        body_bus, engine_bus = outputs.frames
        return outputs._replace(frames=(body_bus[::-1], engine_bus[::-1]))

    difference = compare(sample, names("farm_pickup"), BrokenBoard(swap, "farm_pickup")).difference
    assert difference is not None
    assert (difference.kind, difference.tick) == (Kind.ORDER, 40)


@pytest.mark.parametrize(
    ("spoil", "parts"),
    [
        (
            broken.value,
            [
                "first difference at tick 41 (41 ms)",
                "kind      value: the frame carries something else: body.GAUGE",
                "inputs    key_switch active, supply 12000 mV",
                "GAUGE.Turns expected 850 rpm (raw 1700), actual",
                "last agreed steps",
                "run again xlate vectors run sample.vector",
                "repeated  42 ticks from reset",
            ],
        ),
        (
            broken.late,
            ["late: the frame comes later: body.GAUGE, by 2 ms", "to body: no frame"],
        ),
        (broken.early, ["early: the frame is expected later: body.GAUGE, by 2 ms"]),
        (broken.extra, ["extra: a frame nobody expects: body 7A1", "body 7A1 01"]),
        (broken.pin, ["output fan_relay expected inactive (low), actual active (high)"]),
        (broken.hold, ["power hold expected on, actual off"]),
        (broken.command, ["command to body expected normal, actual listen"]),
        (
            broken.state,
            [
                "state: outputs agree, the state digest does not",
                "state differs from the reference first at tick 44 (44 ms)",
                "bus.body.unknown expected 0, actual 1",
            ],
        ),
    ],
)
def test_the_explanation_speaks_of_signals(sample: Vector, spoil: Spoil, parts: list[str]) -> None:
    result = run_vector(sample, names(), BrokenBoard(spoil), AGAIN)
    assert result.verdict is Verdict.MISMATCH
    text = "\n".join(result.explanation)
    for part in parts:
        assert part in text


def test_the_received_frames_of_the_tick_are_shown_decoded(tmp_path: Path) -> None:
    sample = vector(tmp_path, BODY + "at 45 ms frame body 123 0a\n")
    text = "\n".join(run_vector(sample, names(), BrokenBoard(broken.extra), AGAIN).explanation)
    assert "body 123 0a" in text
    assert "44 ms  in engine.STATE" in text


def test_a_random_vector_is_explained_like_any_other(tmp_path: Path) -> None:
    text = "random seed 7 style driving\n"
    sample = vector(tmp_path, text, "400 ms")
    assert run_vector(sample, names(), BrokenBoard(), AGAIN).verdict is Verdict.PASS
    result = run_vector(sample, names(), BrokenBoard(broken.missing), AGAIN)
    assert result.verdict is Verdict.MISMATCH
    explanation = "\n".join(result.explanation)
    assert "outputs differ from the reference first at tick" in explanation
    assert "missing: an expected frame did not come: body.GAUGE" in explanation
    assert "last agreed steps" in explanation
    assert result.explanation[-1] == f"  run again {AGAIN}"
    assert "<svg" in result.picture
    assert "| actual none" in result.picture


def test_a_random_vector_the_reference_left_behind_is_told_by_its_digest(tmp_path: Path) -> None:
    sample = vector(tmp_path, "random seed 7 style driving\n", "400 ms")
    lines = list(sample.lines())
    digest = lines[0].split("d=")[1][:8]
    older = rewritten(sample, [lines[0].replace(digest, "00C0FFEE"), *lines[1:]], tmp_path)
    result = run_vector(older, names(), BrokenBoard(), AGAIN)
    assert result.verdict is Verdict.MISMATCH
    assert "the vector is older" in "\n".join(result.explanation)
    assert result.picture == ""


class FailingBoard(BrokenBoard):
    """A bench that fails in the given way, on its first or a later run."""

    def __init__(self, error: BoardError, spoil: Spoil | None = None, resets: int = 1) -> None:
        super().__init__(spoil)
        self.error = error
        self.resets = resets

    def reset(self, cause: ResetCause, keep: bool) -> None:
        super().reset(cause, keep)
        self.resets -= 1

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        if self.resets <= 0:
            raise self.error
        return super().step(inputs, frames)


class ForeignBoard(BrokenBoard):
    """A board with another pairing."""

    def identity(self) -> Identity:
        return self.inner.identity()._replace(pairing_digest="0" * 64)


@pytest.mark.parametrize(
    ("board", "verdict"),
    [
        (FailingBoard(BoardError("port is gone")), Verdict.BENCH_FAULT),
        (FailingBoard(BoardTimeoutError("no answer for 2 s")), Verdict.TIMEOUT),
        (FailingBoard(BoardProtocolError("sequence lost")), Verdict.PROTOCOL),
        (FailingBoard(BoardResetError("boot count went up")), Verdict.RESET),
        (ForeignBoard(), Verdict.BENCH_FAULT),
    ],
)
def test_the_bench_is_not_the_product(sample: Vector, board: BrokenBoard, verdict: Verdict) -> None:
    result = run_vector(sample, names(), board, AGAIN)
    assert result.verdict is verdict
    assert result.explanation[-1] == f"  run again {AGAIN}"


def test_a_mismatch_stays_one_when_the_repetition_fails(sample: Vector) -> None:
    board = FailingBoard(BoardTimeoutError("no answer for 2 s"), broken.value, resets=2)
    result = run_vector(sample, names(), board, AGAIN)
    assert result.verdict is Verdict.MISMATCH
    assert "GAUGE.Turns expected 850 rpm" in "\n".join(result.explanation)
    assert result.explanation[-1] == "  the repetition failed: no answer for 2 s"


def test_the_bits_of_a_difference_are_told(sample: Vector) -> None:
    result = run_vector(sample, names(), BrokenBoard(broken.value), AGAIN)
    text = "\n".join(result.explanation)
    assert "    octet 0 expected 00000110, actual 00010010" in text  # 850 rpm / 0.5 = 0x06A4
    result = run_vector(sample, names(), BrokenBoard(broken.truncated), AGAIN)
    text = "\n".join(result.explanation)
    assert "truncated: the frame has fewer octets: body.GAUGE" in text
    assert ", actual nothing" in text
