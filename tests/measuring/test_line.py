"""A board on a line: restarted, then measured in core cycles and microseconds."""

import json
import socket
import struct
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.interface import BoardError
from hil.measuring.line import BANNER, PortLine
from tests.core.test_bridge import PAIRINGS
from tools.cli.board_measure import command
from xlate_core.pairing import load
from xlate_core.pairing.model import Pairing

HERTZ = 168_000_000
CYCLES = 5_040
"""What the scripted board answers to everything: 30 us at 168 MHz."""


class ScriptedBoard(threading.Thread):
    """Speaks as the measuring firmware does (see `measure.c`), after some old octets."""

    def __init__(self, pairing: Pairing) -> None:
        """Listen."""
        super().__init__(daemon=True)
        spec = pairing.spec.pins
        tick = 5 + len(spec.levels) + 2 * len(spec.analogues) + 8
        self.sizes = {b"F": 16, b"T": tick, b"M": 3, b"R": 1, b"K": 1, b"S": 1, b"D": 1}
        self.digest = bytes.fromhex(pairing.digest)
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.restarts = 0
        self.start()

    @property
    def name_of_line(self) -> str:
        """HOST:PORT."""
        return f"127.0.0.1:{self.listening.getsockname()[1]}"

    def run(self) -> None:
        """Answer until the other side is gone."""
        line, _ = self.listening.accept()
        with line:
            line.sendall(b"old octets")
            while head := line.recv(2, socket.MSG_WAITALL):
                length = struct.unpack("<H", head)[0]
                if length == 0:
                    self.restarts += 1
                    line.sendall(BANNER + struct.pack("<I", HERTZ) + self.digest)
                    continue
                batch = line.recv(length, socket.MSG_WAITALL)
                place = answers = 0
                while place < length:
                    place += self.sizes[batch[place : place + 1]]
                    answers += 1
                line.sendall(struct.pack("<I", CYCLES) * answers)


@pytest.fixture
def board() -> Iterator[ScriptedBoard]:
    """A scripted board of the smallest pairing."""
    made = ScriptedBoard(load(PAIRINGS / "minimal"))
    yield made
    made.listening.close()


@pytest.mark.parametrize("as_url", [False, True])
def test_a_board_on_a_line_is_told_in_cycles_and_microseconds(
    board: ScriptedBoard, tmp_path: Path, as_url: bool
) -> None:
    name = f"socket://{board.name_of_line}" if as_url else board.name_of_line
    pairing, figures = PAIRINGS / "minimal", tmp_path / "figures.json"
    wanted = f"--board {name} --pairing {pairing} --json {figures} --tries 3"
    answer = CliRunner().invoke(command, [*wanted.split(), "--no-vectors", "--no-bound"])
    assert answer.exit_code == 0, answer.output
    assert board.restarts == 1
    assert "minimal, core cycles at 168 MHz" in answer.output
    assert (
        "longest tick seen 5040: 3.0 % of a millisecond (30.0 us); goal 8400: met" in answer.output
    )
    assert "kept memory is written in 5040, after every control tick" in answer.output
    told = json.loads(figures.read_text(encoding="utf-8"))
    assert (told["counts_are"], told["worst_tick_us"]) == ("core cycles", 30.0)


class SilentPort:
    """A port nobody answers at."""

    name = "silent"

    def __init__(self) -> None:
        self.sent = b""

    def write(self, octets: bytes) -> None:
        self.sent += octets

    def read(self, timeout_s: float) -> bytes:
        del timeout_s
        return b""

    def close(self) -> None:
        """Nothing to close."""


def test_a_board_without_the_measuring_firmware_is_told_what_to_flash(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("hil.measuring.line.BANNER_S", 0.0)
    port = SilentPort()
    with pytest.raises(BoardError, match="silent: no measuring firmware answers; flash"):
        PortLine(port)
    assert port.sent == b"\0\0"
