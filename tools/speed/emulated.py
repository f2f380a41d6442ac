"""The board emulated: octets a second over its serial port while it runs vectors."""

import time
from collections.abc import Callable
from pathlib import Path

from hil.boards.emulated import EmulatedBoard, firmware
from hil.boards.interface import BoardError
from hil.link.port import Port
from hil.runner import Pairings, is_vector, load_for_run, run_vector
from hil.verdicts import Verdict
from tools.speed.rows import Floor, Measured, Row
from xlate_core.pairing import load

NAME = "farm_pickup"
OCTETS = 150_000
"""Vectors are run until so many octets of their files are used up."""
PEER = 32.0
"""kB/s each way that a bare echo firmware reaches under the same emulator."""
PEER_FLOOR = Floor(PEER, False, f">= {PEER:.0f} kB/s")


class CountedPort:
    """A port that counts what goes through it."""

    def __init__(self, port: Port) -> None:
        """Put a count around a port."""
        self.name = port.name
        self._port = port
        self.sent = 0
        self.received = 0

    def write(self, octets: bytes) -> None:
        """Hand octets over."""
        self.sent += len(octets)
        self._port.write(octets)

    def read(self, timeout_s: float) -> bytes:
        """Return what arrived."""
        octets = self._port.read(timeout_s)
        self.received += len(octets)
        return octets

    def close(self) -> None:
        """Let go of the line."""
        self._port.close()


class CountedBoard(EmulatedBoard):
    """An emulated board with a count on its line."""

    line: CountedPort

    def _line(self) -> Port:
        """Return the counted line of a fresh emulator."""
        self.line = CountedPort(super()._line())
        return self.line


def measure(measured: Measured, vectors: Path, said: Callable[[str], None]) -> None:
    """Add the rows of the emulated board, or the reason why there are none."""
    said("the board emulated")
    folder = vectors / NAME
    if not folder.is_dir():
        return
    pairings = Pairings(Path(__file__).resolve().parents[2] / "fixtures" / "pairings", load, {})
    pairing = pairings.names(NAME).pairing
    try:
        board = CountedBoard(pairing, firmware(pairing))
        try:
            used = run(board, folder, pairings)
        finally:
            board.close()
    except BoardError as error:
        measured.rows.append(Row("emulated", "emulated", None, "kB/s", note=str(error)))
        return
    to_board = board.line.sent / used / 1000
    from_board = board.line.received / used / 1000
    measured.rows += [
        Row("emulated_sent", "emulated: to the board", to_board, "kB/s", 1, floor=PEER_FLOOR),
        Row("emulated_received", "emulated: from the board", from_board, "kB/s", 1),
    ]
    measured.compared.append(
        "emulated: vectors of the whole car over the serial port of the emulator, wall clock; "
        f"a bare echo reached {PEER:.0f} kB/s each way on the machine it was tried on"
    )


def run(board: CountedBoard, folder: Path, pairings: Pairings) -> float:
    """Run the shortest vectors; return the seconds it took. Raises BoardError on a difference."""
    paths = sorted(
        (path for path in folder.iterdir() if is_vector(path)), key=lambda path: path.stat().st_size
    )
    left = OCTETS
    began = time.monotonic()
    for path in paths:
        left -= path.stat().st_size
        if left < 0:
            break
        vector, names = load_for_run(path, pairings)
        if run_vector(vector, names, board, "").verdict is not Verdict.PASS:
            raise BoardError(f"the emulated board does not pass {path.name}")
    return time.monotonic() - began
