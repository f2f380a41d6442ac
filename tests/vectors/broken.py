"""Boards with a fault, each wrong in one way from one tick on."""

from collections.abc import Callable

from hil.boards.interface import Identity
from hil.boards.reference import ReferenceBoard
from tests.vectors.helpers import names
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.frames import Frame

Spoil = Callable[[int, Outputs, "BrokenBoard"], Outputs]


class BrokenBoard:
    """The reference with its outputs spoilt on the way."""

    def __init__(self, spoil: Spoil | None = None, pairing: str = "minimal") -> None:
        self.inner = ReferenceBoard(names(pairing).pairing)
        self.spoil = spoil
        self.tick = 0
        self.held: list[Frame] = []

    def identity(self) -> Identity:
        return self.inner.identity()

    def reset(self, cause: ResetCause, keep: bool) -> None:
        if cause is ResetCause.POWER_ON:
            self.tick = 0
            self.held.clear()
        self.inner.reset(cause, keep)

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        outputs = self.inner.step(inputs, frames)
        if self.spoil is not None:
            outputs = self.spoil(self.tick, outputs, self)
        self.tick += 1
        return outputs

    def digest(self) -> int:
        return self.inner.digest()

    def image(self) -> bytes:
        return self.inner.image()


def put(outputs: Outputs, *frames: Frame) -> Outputs:
    """The outputs with other frames to the body bus."""
    return outputs._replace(frames=(frames, outputs.frames[1]))


def value(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    if tick < 40 or not outputs.frames[0]:
        return outputs
    (frame,) = outputs.frames[0]
    return put(outputs, frame._replace(data=bytes((0x12,)) + frame.data[1:]))


def truncated(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    if tick < 40 or not outputs.frames[0]:
        return outputs
    (frame,) = outputs.frames[0]
    return put(outputs, frame._replace(data=frame.data[:-1]))


def missing(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    return put(outputs) if tick >= 40 else outputs


def extra(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    return put(outputs, Frame(0, False, 0x7A1, b"\x01")) if tick == 45 else outputs


def late(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    if tick == 41:
        board.held = list(outputs.frames[0])
        return put(outputs)
    return put(outputs, *board.held) if tick == 43 else outputs


def early(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    if tick == 39:
        return put(outputs, Frame(0, False, 544, bytes(6)))
    return put(outputs) if tick == 41 else outputs


def pin(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    return outputs._replace(levels=(True,)) if tick == 44 else outputs


def hold(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    return outputs._replace(power_hold=not outputs.power_hold) if tick == 44 else outputs


def state(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    if tick == 44:
        board.inner.bridge.intake.bus_counts[0].unknown += 1
    return outputs


def command(tick: int, outputs: Outputs, board: BrokenBoard) -> Outputs:
    return outputs._replace(commands=(1, 0)) if tick == 44 else outputs
