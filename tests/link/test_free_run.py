"""A free run: the board's clock, the board's journal, the reference's verdict."""

import time
from collections import deque
from collections.abc import Iterator
from contextlib import suppress
from itertools import islice

import pytest
from click.testing import CliRunner

from hil.boards.interface import BoardError
from hil.boards.reference import ReferenceBoard
from hil.explanation import free_run_lines
from hil.link.board import LinkBoard
from hil.link.free_run import (
    FreeRun,
    FreeRunDifference,
    Replay,
    filled,
    free_run,
    with_input,
)
from hil.link.layouts import Op
from hil.link.records import RECORD, frame_record, ticks_records
from hil.link.session import Reply
from hil.vectors import plays, random_traffic
from hil.vectors.plays import Play
from hil.vectors.records import initial
from tests.link.helpers import native, pairings, small
from tools.cli.main import main
from xlate_core.bridge import Inputs, ResetCause
from xlate_core.frames import Frame


def traffic(name: str, ticks: int) -> Iterator[Play]:
    names = pairings().names(name)
    for step in islice(random_traffic.steps(names, 11, "disturbed", ticks), ticks):
        frames = tuple(one.frame for one in step.stimuli)
        yield Play(0, None, step.inputs, frames, (), False)


def whole_run(board: LinkBoard, name: str) -> FreeRun:
    """A free run whose journal is whole: a busy machine may keep the host from the line."""
    for _ in range(9):
        with suppress(BoardError):
            return free_run(board, 0.7, traffic(name, 3000))
        board.recover()
    return free_run(board, 0.7, traffic(name, 3000))


@pytest.mark.parametrize("name", ["minimal", "farm_pickup"])
def test_a_free_run_is_compared_tick_by_tick(name: str) -> None:
    board = native(name)
    try:
        run = whole_run(board, name)
        assert run.difference is None
        assert run.digest is not None
        assert run.ticks > 50
        assert run.inputs > 10
        assert run.frames_out > 0
        # and lockstep goes on afterwards
        board.recover()
        assert board.digest() == ReferenceBoard(board.pairing).digest()
    finally:
        board.close()


def test_a_journal_that_lies_is_a_difference() -> None:
    board = native()
    try:
        replay = Replay(board)
        wrong = frame_record(Frame(0, False, 0x7FF, b"\x01"))
        replay.take(wrong + ticks_records(1), (0, 0))
        assert replay.run.difference is not None
        assert replay.run.difference.tick == 0
    finally:
        board.close()


@pytest.mark.slow
def test_a_tick_without_room_is_a_bench_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    board = small("farm_pickup")
    try:
        poll = board.session.poll_replies

        def nobody_takes_it(timeout_s: float) -> list[Reply]:
            found = poll(0.0)
            time.sleep(1.0)
            return found

        monkeypatch.setattr(board.session, "poll_replies", nobody_takes_it)
        with pytest.raises(BoardError, match="no room in the journal"):
            free_run(board, 0.9, traffic("farm_pickup", 10))
    finally:
        board.close()


def test_what_is_due_together_goes_in_whole_records() -> None:
    pieces = deque([b"abc", b"de", b"f", b"ghij"])
    assert filled(pieces, 5) == b"abcde"
    assert filled(pieces, 4) == b"f"
    assert filled(pieces, 4) == b"ghij"
    assert not pieces


def test_a_difference_is_told_by_signal() -> None:
    names = pairings().names("minimal")
    board = ReferenceBoard(names.pairing)
    board.reset(ResetCause.POWER_ON, False)
    sent = [board.step(initial(names.pairing), ()) for _ in range(200)]
    tick = next(number for number, one in enumerate(sent) if any(one.frames))
    silent = sent[tick]._replace(frames=((), ()))
    lines = free_run_lines(names, FreeRunDifference(tick, sent[tick], silent))
    assert lines[0].startswith(f"first difference at tick {tick} ")
    assert any("actual" in line and "no frame" in line for line in lines)
    lines = free_run_lines(names, FreeRunDifference(7, 1, 2))
    assert "expected 00000001, actual 00000002" in lines[1]


def test_a_style_that_does_not_exist() -> None:
    words = ["board", "free-run", "native", "--style", "drivin"]
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 2
    assert "'drivin' is not one of 'driving', 'disturbed', 'hostile'" in result.output


def test_input_records_change_one_thing_each() -> None:
    inputs = Inputs(levels=(False, False), counts=(0,), supply_mv=12000)
    assert with_input(inputs, RECORD[Op.LEVEL].pack(Op.LEVEL, 1, 1)).levels == (False, True)
    assert with_input(inputs, RECORD[Op.COUNT].pack(Op.COUNT, 0, 77)).counts == (77,)
    assert with_input(inputs, RECORD[Op.SUPPLY].pack(Op.SUPPLY, 9000)).supply_mv == 9000
    told = with_input(inputs, RECORD[Op.CONTROLLER].pack(Op.CONTROLLER, 1, 2, 3, 4, 5))
    assert tuple(told.buses[1]) == (2, 3, 4, 5)
    assert told.buses[0] == inputs.buses[0]


def test_the_plays_keep_their_time() -> None:
    names = pairings().names("minimal")
    assert len(list(plays.first(5, iter(()), plays.start_of(names)))) == 1
