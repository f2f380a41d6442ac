"""The board `native library`: the C core of one pairing, as a shared library in this process.

The core's memory is static, so all boards on one library file share one state: use one at a time.
"""

import ctypes
from pathlib import Path
from struct import Struct
from typing import Any

from hil.boards.interface import BoardError, Identity
from hil.firmware.tables import counts, frame_slots
from xlate_core.bridge import Bridge, Inputs, Outputs, ResetCause
from xlate_core.frames import MAX_DATA_LENGTH, Bus, Frame
from xlate_core.pairing.model import Pairing


class CFrame(ctypes.Structure):
    """xb_frame of frames.h."""

    _fields_ = (
        ("identifier", ctypes.c_uint32),
        ("bus", ctypes.c_uint8),
        ("extended", ctypes.c_uint8),
        ("length", ctypes.c_uint8),
        ("data", ctypes.c_uint8 * MAX_DATA_LENGTH),
    )


FRAME = Struct(f"=IBBB{MAX_DATA_LENGTH}s{ctypes.sizeof(CFrame) - 7 - MAX_DATA_LENGTH}x")
"""The octets of a CFrame."""


class CBusInput(ctypes.Structure):
    """xb_bus_input of buses.h."""

    _fields_ = (
        ("state", ctypes.c_uint8),
        ("acknowledged", ctypes.c_uint8),
        ("unacknowledged", ctypes.c_uint8),
        ("errors", ctypes.c_uint8),
    )


def c_inputs(slots: dict[str, int]) -> Any:
    """Return an empty xb_inputs of xlate_bridge.h."""

    class CInputs(ctypes.Structure):
        _fields_ = (
            ("supply_mv", ctypes.c_uint32),
            ("counts", ctypes.c_uint16 * slots["ANALOGUE"]),
            ("levels", ctypes.c_uint8 * slots["LEVEL"]),
            ("buses", CBusInput * len(Bus)),
        )

    return CInputs()


def c_outputs(slots: dict[str, int]) -> Any:
    """Return an empty xb_outputs of xlate_bridge.h."""

    class COutputs(ctypes.Structure):
        _fields_ = (
            ("frames", CFrame * slots["FRAME"] * len(Bus)),
            ("frame_counts", ctypes.c_uint32 * len(Bus)),
            ("frequency", ctypes.c_uint32 * slots["FREQUENCY"]),
            ("duty", ctypes.c_uint16 * slots["DUTY"]),
            ("levels", ctypes.c_uint8 * slots["LEVEL_OUTPUT"]),
            ("commands", ctypes.c_uint8 * len(Bus)),
            ("power_hold", ctypes.c_uint8),
        )

    return COutputs()


class NativeLibraryBoard:
    """The C core behind the interface of all boards; reset when it is made."""

    def __init__(self, pairing: Pairing, library: Path) -> None:
        """Load a library that was built from the pairing."""
        self.pairing = pairing
        self.counts = counts(pairing.spec)
        slots = {name: max(count, 1) for name, count in self.counts.items()}
        self._inputs = c_inputs(slots)
        self._outputs = c_outputs(slots)
        self._frame_slots = frame_slots(pairing.spec)
        bridge = Bridge(pairing.spec)
        self._image = (ctypes.c_uint8 * len(bridge.image()))()
        self._kept = (ctypes.c_uint8 * len(bridge.kept()))()
        self._given: Inputs | None = None
        self._pins_at = type(self._outputs).frequency.offset  # all that is no frame lies behind
        self._octets = b""
        self._pins: tuple[Any, ...] = ()
        try:
            self._core = ctypes.CDLL(str(library))
        except OSError as error:
            raise BoardError(f"cannot load {library.name}: {error}") from None
        self._core.xb_rules.restype = ctypes.c_uint32
        self._core.xb_digest.restype = ctypes.c_uint32
        self._core.xb_image.restype = ctypes.c_uint32
        self._core.xb_kept.restype = ctypes.c_uint32
        self._core.xb_pairing.restype = ctypes.POINTER(ctypes.c_uint8 * 32)
        if self.identity().pairing_digest != pairing.digest:
            raise BoardError(f"{library.name} carries another pairing than {pairing.name}")
        self.reset(ResetCause.POWER_ON, keep=False)

    def identity(self) -> Identity:
        """Say what the library was built from."""
        rules = int(self._core.xb_rules())
        digest = bytes(self._core.xb_pairing().contents).hex()
        return Identity("native library", f"rules {rules}", rules, digest)

    def reset(self, cause: ResetCause, keep: bool) -> None:
        """Restart; with `keep` the memory that survives a reset survives."""
        self.restart(cause, self.kept() if keep else None)

    def restart(self, cause: ResetCause, kept: bytes | None) -> None:
        """Restart with these octets in the memory that survives, or with none."""
        if kept is None:
            self._core.xb_reset(ctypes.c_int(cause), None)
            return
        ctypes.memmove(self._kept, kept, len(self._kept))
        self._core.xb_reset(ctypes.c_int(cause), ctypes.byref(self._kept))

    def kept(self) -> bytes:
        """Return the memory that survives a reset."""
        length = int(self._core.xb_kept(self._kept))
        if length != len(self._kept):
            raise BoardError(f"kept memory has {length} octets, expected {len(self._kept)}")
        return bytes(self._kept)

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Receive the frames in order, then run one tick."""
        for frame in frames:
            octets = frame.data.ljust(MAX_DATA_LENGTH, b"\xa5")  # what is behind must not matter
            head = (frame.identifier, frame.bus, frame.extended, len(frame.data))
            received = CFrame.from_buffer_copy(FRAME.pack(*head, octets))
            self._core.xb_receive(ctypes.byref(received))
        if inputs is not self._given:
            self._give(inputs)
        self._core.xb_tick(ctypes.byref(self._inputs), ctypes.byref(self._outputs))
        return self._result()

    def _give(self, inputs: Inputs) -> None:
        """Put inputs where the core looks at them."""
        self._given = inputs
        self._inputs.supply_mv = inputs.supply_mv
        for index, level in enumerate(inputs.levels):
            self._inputs.levels[index] = level
        for index, count in enumerate(inputs.counts):
            self._inputs.counts[index] = count
        for index, given in enumerate(inputs.buses):
            self._inputs.buses[index] = CBusInput(*given)

    def digest(self) -> int:
        """Return the digest of the state image."""
        return int(self._core.xb_digest())

    def image(self) -> bytes:
        """Return the state image."""
        length = int(self._core.xb_image(self._image))
        if length != len(self._image):
            raise BoardError(f"state image has {length} octets, expected {len(self._image)}")
        return bytes(self._image)

    def _result(self) -> Outputs:
        """Return the outputs as the reference gives them."""
        octets = memoryview(self._outputs).cast("B")[self._pins_at :].tobytes()
        if octets != self._octets:  # the same octets mean the same
            out = self._outputs
            self._octets = octets
            self._pins = (
                (int(out.commands[0]), int(out.commands[1])),
                tuple(bool(level) for level in out.levels[: self.counts["LEVEL_OUTPUT"]]),
                tuple(out.duty[: self.counts["DUTY"]]),
                tuple(out.frequency[: self.counts["FREQUENCY"]]),
                bool(out.power_hold),
            )
        return Outputs((self._frames(Bus.BODY), self._frames(Bus.ENGINE)), *self._pins)

    def _frames(self, bus: int) -> tuple[Frame, ...]:
        """Return the frames handed over on a bus."""
        number = self._outputs.frame_counts[bus]
        if number == 0:
            return ()
        if number > self._frame_slots:
            raise BoardError(f"{number} frames in one tick, expected at most {self._frame_slots}")
        return tuple(
            Frame(one.bus, bool(one.extended), one.identifier, bytes(one.data)[: one.length])
            for one in self._outputs.frames[bus][:number]
        )
