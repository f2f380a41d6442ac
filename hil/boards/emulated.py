"""The board `emulated`: the firmware of the STM32F405, octet for octet, under QEMU.

The same ELF file is flashed to a real board. It is built when it is first needed and kept in the
cache of built boards; the emulator is started, pinned and ended here.
"""

import shutil
from pathlib import Path

from hil.boards.building import built
from hil.boards.emulator import NO_EMULATOR, PROGRAM, Emulator
from hil.boards.interface import BoardError
from hil.boards.options import BoardOptions
from hil.firmware.toolchains import STM32, find
from hil.link.board import LinkBoard
from hil.link.port import ByteLog, LoggedPort, Port, TcpPort
from hil.link.session import Timing
from xlate_core.pairing.model import Pairing


def firmware(pairing: Pairing) -> Path:
    """Return the firmware of a pairing, built unless it is in the cache.

    Raises BoardError without a compiler for the board, or with what it said.
    """
    return built(pairing, STM32, ".elf")


class EmulatorPort(TcpPort):
    """The serial port of an emulator that runs; letting go of it ends the emulator."""

    def __init__(self, emulator: Emulator) -> None:
        """Take the emulator's line."""
        self.name = "emulated"
        self._emulator = emulator
        self._socket = emulator.line

    def close(self) -> None:
        """End the emulator."""
        self._emulator.close()


class EmulatedBoard(LinkBoard):
    """An emulator behind the link; after a bench fault it is started anew."""

    def __init__(
        self,
        pairing: Pairing,
        elf: Path,
        timing: Timing | None = None,
        byte_log: Path | None = None,
    ) -> None:
        """Start the emulator and say hello."""
        self._elf = elf
        self._byte_log = byte_log
        super().__init__(pairing, self._line, timing)

    def _line(self) -> Port:
        """Return the line of a fresh emulator."""
        port = EmulatorPort(Emulator(self._elf))
        return port if self._byte_log is None else LoggedPort(port, ByteLog(self._byte_log))


def missing() -> str:
    """Return what this machine lacks for the board, empty when nothing."""
    if shutil.which(PROGRAM) is None:
        return NO_EMULATOR
    try:
        find(STM32)
    except BoardError as error:
        return str(error)
    return ""


def open(name: str, pairing: Pairing, options: BoardOptions) -> EmulatedBoard:  # noqa: A001
    """Open an emulated board for a pairing; raises BoardError without emulator or compiler."""
    del name
    if shutil.which(PROGRAM) is None:
        raise BoardError(NO_EMULATOR)
    return EmulatedBoard(pairing, firmware(pairing), options.timing, options.byte_log)
