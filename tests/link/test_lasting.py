"""Kept memory over a restart of the board: what is taken up again, and what is not."""

import ctypes
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import pytest

from hil.boards.native import NativeBoard
from hil.boards.native_library import NativeLibraryBoard
from hil.boards.reference import ReferenceBoard
from hil.firmware.building import LINK, OPTIMISED, compile_core
from hil.link.board import LinkBoard
from hil.link.free_run import free_run
from hil.repetition import stimulus
from hil.vectors import plays, random_traffic
from hil.vectors.plays import Play
from tests.core.test_bridge import bridge_of, random_stimulus, step
from tests.link.helpers import native, pairings, vector
from tools.environment import C_COMPILER
from xlate_core.bridge import Bridge, ResetCause
from xlate_core.kept_memory import MEMORY_NONE, MEMORY_REFUSED, MEMORY_TAKEN

NAME = "long_nights"
TICKS = 1505  # until after a fault was stored, and not to a control tick
needs_compiler = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)


def driven(board: LinkBoard, ticks: int = TICKS) -> ReferenceBoard:
    """Run the beginning of a vector on a board; return the reference after the same."""
    loaded, names = vector(f"{NAME}/memory_of_a_lost_message.vector")
    reference = ReferenceBoard(names.pairing)
    for one in (board, reference):
        one.reset(ResetCause.POWER_ON, False)
    for _, reset, inputs, frames in islice(stimulus(loaded, names), ticks):
        if reset is not None:
            for one in (board, reference):
                one.reset(*reset)
        assert board.step(inputs, frames) == reference.step(inputs, frames)
    return reference


@pytest.fixture
def board() -> Iterator[NativeBoard]:
    opened = native(NAME)
    yield opened
    opened.close()


def empty(cause: ResetCause = ResetCause.COMMANDED) -> Bridge:
    """The engine after a start without memory."""
    bridge = Bridge(pairings().names(NAME).pairing.spec)
    bridge.reset(cause)
    return bridge


def again(board: LinkBoard) -> None:
    """Open a new session on the same line."""
    board._connect(board.session.port)


@needs_compiler
def test_what_was_kept_is_back_after_a_restart(board: NativeBoard) -> None:
    came_back(board)


def came_back(board: LinkBoard) -> None:
    """Drive a board, restart it, and see that all it kept is there as the reference keeps it."""
    reference = driven(board)
    before = reference.bridge.dump()
    assert any(path.endswith(".stored") and value for path, _, value in before), "nothing to keep"
    board.restart()
    reference.reset(ResetCause.COMMANDED, True)
    assert reference.field("start.memory") == MEMORY_TAKEN
    assert board.image() == reference.image()
    # Every session finds it as long as nothing ran ...
    again(board)
    assert board.image() == reference.image()
    # ... and from then on a session begins without memory: the host decides.
    board.step(plays.start_of(pairings().names(NAME)), ())
    again(board)
    assert board.image() == empty().image()


@needs_compiler
def test_a_second_restart_goes_on_from_the_first(board: NativeBoard) -> None:
    reference = driven(board)
    starts = reference.field("start.starts")
    for _ in range(2):
        board.restart()
        reference.reset(ResetCause.COMMANDED, True)
        for _ in range(25):
            inputs = plays.start_of(pairings().names(NAME))
            assert board.step(inputs, ()) == reference.step(inputs, ())
        assert board.image() == reference.image()
    assert reference.field("start.starts") == starts + 2


@needs_compiler
def test_a_power_on_has_no_memory(board: NativeBoard) -> None:
    driven(board)
    board.recover()  # a new connection: as when the board is plugged in
    assert board.hello.cause == ResetCause.POWER_ON
    assert board.image() == empty(ResetCause.POWER_ON).image()
    assert dict(board.dump())["start.memory"] == MEMORY_NONE


@needs_compiler
@pytest.mark.parametrize("ticks", [0, 1, 4])
def test_memory_that_a_reset_forgot_does_not_come_back(board: NativeBoard, ticks: int) -> None:
    """The host's reset without memory counts at once, before a tick stored anything."""
    driven(board)
    reference = ReferenceBoard(board.pairing)
    for one in (board, reference):
        one.reset(ResetCause.POWER_ON, False)
    for _ in range(ticks):
        inputs = plays.start_of(pairings().names(NAME))
        assert board.step(inputs, ()) == reference.step(inputs, ())
    board.restart()
    reference.reset(ResetCause.COMMANDED, True)
    assert board.image() == reference.image()


@needs_compiler
def test_a_free_run_goes_on_as_the_board_started(board: NativeBoard) -> None:
    starts = driven(board).field("start.starts")
    board.restart()
    run = free_run(board, 0.5, iter(()), as_it_is=True)
    assert run.difference is None
    assert run.digest is not None
    assert run.ticks > 50
    after = dict(board.dump())
    assert after["start.starts"] == starts + 1
    assert after["start.memory"] == MEMORY_TAKEN


@needs_compiler
def test_a_free_run_stores_what_it_keeps(board: NativeBoard) -> None:
    names = pairings().names(NAME)
    steps = islice(random_traffic.steps(names, 21, "disturbed", 2000), 2000)
    traffic = (
        Play(0, None, drawn.inputs, tuple(one.frame for one in drawn.stimuli), (), False)
        for drawn in steps
    )
    free_run(board, 0.8, traffic)
    kept = dict(board.dump())
    board.restart()
    found = dict(board.dump())
    assert found["start.memory"] == MEMORY_TAKEN
    for path in ("power.cycle", "operation.ticks"):
        assert found[path] == kept[path]
    assert found["operation.ticks"] > 5


# THE COPIES


class Copies:
    """The core as a library with `lasting.c`, and the memory it stores into."""

    def __init__(self, folder: Path) -> None:
        self.pairing = pairings().names(NAME).pairing
        flags = (*OPTIMISED, "-fPIC", "-shared", f"-I{LINK}")
        library = compile_core(self.pairing, folder, "core.so", flags, [LINK / "lasting.c"])
        self.core = NativeLibraryBoard(self.pairing, library)
        self.functions: Any = self.core._core
        self.kept_octets = len(self.core.kept())
        self.memory = ctypes.create_string_buffer(2 * self.kept_octets + 1)
        self.functions.xb_lasting_find.restype = ctypes.c_void_p
        self.functions.xb_kept_moved.restype = ctypes.c_uint8

    def store(self) -> None:
        """Store what the core keeps."""
        self.functions.xb_lasting_store(self.memory)

    def find(self, memory: bytes) -> bytes:
        """Return the copy that is found in a memory."""
        self.memory.raw = memory
        place = self.functions.xb_lasting_find(self.memory) - ctypes.addressof(self.memory)
        assert place in (0, self.kept_octets)
        return memory[place : place + self.kept_octets]

    def memory_after_start(self, memory: bytes) -> int:
        """Return what becomes of the memory at a start."""
        self.core.restart(ResetCause.WATCHDOG, self.find(memory))
        bridge = Bridge(self.pairing.spec)
        bridge.restore(self.core.image())
        return bridge.start.memory


@pytest.fixture(scope="module")
def copies(tmp_path_factory: pytest.TempPathFactory) -> Copies:
    if not C_COMPILER.present():
        pytest.skip(f"needs {C_COMPILER.what}. {C_COMPILER.how}")
    return Copies(tmp_path_factory.mktemp("lasting"))


def two_lives(copies: Copies) -> tuple[bytes, bytes]:
    """Return what the core keeps after some traffic and after some more."""
    found = []
    bridge = bridge_of(NAME)
    for tick, (frames, inputs) in enumerate(random_stimulus(bridge, 3, 900)):
        copies.core.step(inputs, tuple(frames))
        step(bridge, frames, inputs)
        if tick in (600, 899):
            found.append(copies.core.kept())
            copies.store()
    return found[0], found[1]


def test_a_restart_in_the_middle_of_the_writing_leaves_a_whole_copy(copies: Copies) -> None:
    former, latter = two_lives(copies)
    after = copies.memory.raw
    newer = after[-1]
    assert copies.find(after) == latter
    # The memory before the last storing: the older copy still holds what was there.
    before = bytearray(after)
    place = newer * copies.kept_octets
    before[place : place + copies.kept_octets] = bytes(copies.kept_octets)
    before[-1] = newer ^ 1
    assert copies.find(bytes(before)) == former
    for done in range(copies.kept_octets + 1):
        cut = bytearray(before)
        cut[place : place + done] = latter[:done]
        assert copies.find(bytes(cut)) == former, done
        assert copies.memory_after_start(bytes(cut)) == MEMORY_TAKEN


def test_a_damaged_copy_is_refused_for_the_other_and_both_for_none(copies: Copies) -> None:
    former, latter = two_lives(copies)
    whole = copies.memory.raw
    places = {
        which: n * copies.kept_octets for which, n in (("new", whole[-1]), ("old", 1 - whole[-1]))
    }
    for bit in range(8 * copies.kept_octets):
        damaged = bytearray(whole)
        damaged[places["new"] + bit // 8] ^= 1 << bit % 8
        assert copies.find(bytes(damaged)) == former, bit
        damaged[places["old"] + bit // 8] ^= 1 << bit % 8
        assert copies.memory_after_start(bytes(damaged)) == MEMORY_REFUSED, bit
    damaged = bytearray(whole)
    damaged[-1] ^= 0xFE  # only its last bit says anything
    assert copies.find(bytes(damaged)) == latter


@pytest.mark.parametrize("octet", [0x00, 0x5A, 0xFF])
def test_noise_is_no_memory(copies: Copies, octet: int) -> None:
    assert copies.memory_after_start(bytes([octet]) * len(copies.memory.raw)) == MEMORY_REFUSED


def test_kept_memory_moves_on_control_ticks_alone(copies: Copies) -> None:
    """What is stored after ticks of which the core says so is never behind."""
    copies.core.reset(ResetCause.POWER_ON, keep=False)
    bridge = bridge_of(NAME)
    kept, stored = copies.core.kept(), 0
    for frames, inputs in random_stimulus(bridge, 5, 1500):
        copies.core.step(inputs, tuple(frames))
        step(bridge, frames, inputs)
        if copies.functions.xb_kept_moved():
            kept = copies.core.kept()
            stored += 1
        assert copies.core.kept() == kept
    assert stored == 150
