"""The line to a board with the measuring firmware: the emulator's socket, or a port."""

import time
from typing import Protocol

from hil.boards.interface import BoardTimeoutError
from hil.link.port import Port

BANNER = b"measure\n"
RESTART = b"\0\0"  # a batch without length
QUIET_S = 0.2
BANNER_S = 5.0


class Line(Protocol):
    """What the meter needs: a socket has it."""

    def settimeout(self, value: float | None, /) -> None:
        """Set how long `recv` waits, in seconds."""

    def sendall(self, data: bytes, /) -> None:
        """Send octets."""

    def recv(self, bufsize: int, /) -> bytes:
        """Return some octets, b"" when the other side is gone; raises TimeoutError."""


class PortLine:
    """A port, a real board behind it, used as a line."""

    def __init__(self, port: Port) -> None:
        """Restart the measuring firmware and leave its banner as the first octets.

        Raises BoardError when no banner comes.
        """
        self._port = port
        self._waiting = b""
        self._timeout = BANNER_S
        while port.read(QUIET_S):
            pass  # what it said before is of no use
        port.write(RESTART)
        ends = time.monotonic() + BANNER_S
        while BANNER not in self._waiting:
            if time.monotonic() > ends:
                raise BoardTimeoutError(
                    f"{port.name}: no measuring firmware answers; flash "
                    "`xlate firmware build --board stm32f405 --program measure`, then reset it"
                )
            self._waiting += port.read(QUIET_S)
        self._waiting = self._waiting[self._waiting.index(BANNER) :]

    def settimeout(self, value: float | None, /) -> None:
        """Set how long `recv` waits, in seconds."""
        self._timeout = BANNER_S if value is None else value

    def sendall(self, data: bytes, /) -> None:
        """Send octets."""
        self._port.write(data)

    def recv(self, bufsize: int, /) -> bytes:
        """Return some octets; raises TimeoutError when none come in time."""
        if not self._waiting:
            self._waiting = self._port.read(self._timeout)
        if not self._waiting:
            raise TimeoutError
        taken, self._waiting = self._waiting[:bufsize], self._waiting[bufsize:]
        return taken

    def close(self) -> None:
        """Close the port."""
        self._port.close()
