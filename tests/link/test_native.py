"""The board native behind the link: every byte of the protocol that the runner relies on."""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from random import Random

import pytest

from hil.boards.interface import BoardProtocolError, BoardResetError
from hil.boards.native import NativeBoard
from hil.boards.reference import ReferenceBoard
from hil.comparison import compare
from hil.link import layouts
from hil.link.board import field_parts
from hil.link.layouts import Kind, Op
from hil.link.records import RECORD, frame_record
from hil.vectors import plays, random_traffic
from tests.link.helpers import native, pairings, short_vectors, small, vector
from xlate_core.bridge import ResetCause
from xlate_core.buses import BusCommand
from xlate_core.frames import Frame


@pytest.fixture(scope="module")
def board() -> Iterator[NativeBoard]:
    opened = native()
    yield opened
    opened.close()


@pytest.mark.parametrize("path", short_vectors(most=6), ids=lambda path: path.stem)
def test_vectors_pass(board: NativeBoard, path: Path) -> None:
    loaded, names = vector(str(path))
    run = compare(loaded, names, board)
    assert run.difference is None
    assert run.ticks == loaded.header.ticks
    assert run.checkpoints


@pytest.mark.parametrize(
    "path", short_vectors("farm_pickup", ticks=6000, most=6), ids=lambda path: path.stem
)
def test_vectors_pass_with_the_memory_of_a_real_board(path: Path) -> None:
    loaded, names = vector(str(path))
    board = small("farm_pickup")
    try:
        run = compare(loaded, names, board)
        assert run.difference is None
        assert run.ticks == loaded.header.ticks
        status = board.session.status()
        assert status["overruns"] == status["no_room"] == status["gaps"] == 0
        assert board.image() == board.image()
    finally:
        board.close()


def test_a_board_that_is_not_told_ahead_says_the_same(board: NativeBoard) -> None:
    loaded, names = vector(str(short_vectors()[0]))
    reference = ReferenceBoard(names.pairing)
    for one in (reference, board):
        one.reset(ResetCause.POWER_ON, False)
    inputs = plays.start_of(names)
    for play in islice(plays.of_vector(loaded, names), 60):
        inputs = play.inputs
        assert board.step(inputs, play.frames) == reference.step(inputs, play.frames)
    assert board.digest() == reference.digest()
    assert board.image() == reference.image()
    assert board.dump() == [(path, value) for path, value in reference.dump()]


@pytest.mark.parametrize("name", ["minimal", "farm_pickup"])
def test_a_snapshot_goes_on_as_the_original_does(name: str) -> None:
    board = native(name)
    try:
        names = pairings().names(name)
        reference = ReferenceBoard(names.pairing)
        reference.reset(ResetCause.POWER_ON, False)
        board.reset(ResetCause.POWER_ON, False)
        steps = random_traffic.steps(names, 7, "disturbed", 3000)
        for step in islice(steps, 1500):
            reference.step(step.inputs, tuple(one.frame for one in step.stimuli))
        image = reference.image()
        assert board.restore(image) == reference.digest()
        assert board.image() == image
        for step in islice(steps, 400):
            frames = tuple(one.frame for one in step.stimuli)
            assert board.step(step.inputs, frames) == reference.step(step.inputs, frames)
        assert board.digest() == reference.digest()
    finally:
        board.close()


def test_a_snapshot_of_a_sleeping_module_sleeps_on() -> None:
    board = native("long_nights")
    try:
        names = pairings().names("long_nights")
        reference = ReferenceBoard(names.pairing)
        for one in (reference, board):
            one.reset(ResetCause.POWER_ON, False)
        inputs = plays.start_of(names)
        for _ in range(1015):  # asleep 1000 ms after the door at 10 ms; no control tick follows
            reference.step(inputs, ())
        assert board.restore(reference.image()) == reference.digest()
        outputs = board.step(inputs, ())
        assert outputs.commands == (BusCommand.SLEEP, BusCommand.SLEEP)
        assert outputs == reference.step(inputs, ())
    finally:
        board.close()


def test_snapshots_are_cut_between_fields(board: NativeBoard) -> None:
    image = board.image()
    parts = list(field_parts(board.pairing, image, 64))
    assert b"".join(octets for _, octets in parts) == image
    assert max(len(octets) for _, octets in parts) <= 64
    board.restore(image)
    assert board.image() == image


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (bytes((0x3F,)), "octet 0: record unknown"),
        (bytes((0x80, 0x3F)), "octet 1: record unknown"),
        (bytes((Op.SUPPLY, 1, 2)), "octet 0: record cut"),
        (bytes((0x48, 1, 1, 2)), "octet 0: record cut"),
        (RECORD[Op.LEVEL].pack(Op.LEVEL, 250, 1), "octet 0: out of range"),
        (RECORD[Op.RESET].pack(Op.RESET, 200, 0), "octet 0: out of range"),
        (RECORD[Op.COUNT].pack(Op.COUNT, 250, 1), "octet 0: out of range"),
    ],
)
def test_a_record_that_is_none_is_refused_with_its_place(payload: bytes, reason: str) -> None:
    board = native()
    try:
        board.session.submit(Kind.WORK, payload)
        with pytest.raises(BoardProtocolError, match=reason):
            board.session.drain()
        board.recover()
        assert board.digest() == ReferenceBoard(board.pairing).digest()
    finally:
        board.close()


@pytest.mark.parametrize("kind", [0x15, 0x7F])
def test_an_unknown_kind_is_refused(kind: int) -> None:
    board = native()
    try:
        board.session.submit(kind, b"abc")
        with pytest.raises(BoardProtocolError, match="kind unknown"):
            board.session.next_reply()
    finally:
        board.close()


@pytest.mark.parametrize("part", [(0, 9999), (60000, 1)])
def test_state_outside_the_image_is_refused(part: tuple[int, int]) -> None:
    board = native()
    try:
        request = layouts.STATE.build({"first": part[0], "count": part[1]})
        board.session.submit(Kind.STATE, request)
        with pytest.raises(BoardProtocolError, match="out of range"):
            board.session.next_reply()
    finally:
        board.close()


def test_a_restart_is_noticed_in_the_session_it_ends() -> None:
    board = native()
    try:
        before = board.hello.boots
        board.session.restart_board()
        with pytest.raises(BoardResetError, match=f"start {before}, now start {before + 1}"):
            board.digest()
        board.recover()
        board.restart()
        assert board.hello.cause == ResetCause.COMMANDED
        assert board.digest() == ReferenceBoard(board.pairing).digest()
    finally:
        board.close()


def test_octets_that_are_no_packets_change_nothing() -> None:
    board = native()
    try:
        before = board.image()
        chance = Random(3)
        for _ in range(200):
            board.session.port.write(chance.randbytes(chance.randint(1, 300)))
        board.session.port.write(b"\0")
        assert board.image() == before
        status = board.session.status()
        assert status["damaged"] > 50
        assert status["repeats"] == status["no_room"] == 0
    finally:
        board.close()


def test_a_process_that_died_is_started_anew() -> None:
    board = native()
    try:
        board.process.end()
        with pytest.raises(Exception, match="the line is gone"):
            board.digest()
        board.recover()
        assert board.digest() == ReferenceBoard(board.pairing).digest()
    finally:
        board.close()


def test_raw_length_codes_reach_the_board() -> None:
    frame = Frame(1, False, 0x123, bytes(8))
    assert frame_record(frame, 15)[0] == frame_record(frame)[0] + 7


def test_the_line_works_through_pyserial_too() -> None:
    import serial

    from hil.link.framing import Decoder, Packet, encode

    board = native()
    try:
        board.session.port.close()
        with serial.serial_for_url(f"socket://127.0.0.1:{board.process.port}", timeout=5) as line:
            hello = Packet(Kind.HELLO, 0, 99, 0, 0, layouts.HELLO.build({"link": 1}))
            line.write(b"\0" + encode(hello))
            decoder, found = Decoder(), []
            while not any(packet.kind == Kind.IDENTITY for packet in found):
                octets = line.read(1)
                assert octets, "no answer through pyserial"
                found += decoder.feed(octets)
            assert found[-1].nonce == 99
    finally:
        board.close()
