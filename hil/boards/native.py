"""The board `native`: the C core of a pairing as a process that speaks the link over TCP.

It is built when it is first needed and kept in a cache by what it was made of, so a change of the
sources or of the pairing builds it anew.
"""

import atexit
import subprocess
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from hil.boards.building import built
from hil.boards.interface import BoardError
from hil.boards.options import BoardOptions
from hil.firmware.toolchains import NATIVE, find
from hil.link.board import LinkBoard
from hil.link.port import ByteLog, LoggedPort, Port, TcpPort
from hil.link.session import Timing
from xlate_core.pairing.model import Pairing

END_S = 2.0


def executable(pairing: Pairing) -> Path:
    """Return the native board of a pairing, built unless it is in the cache."""
    return built(pairing, NATIVE)


class NativeProcess:
    """A running native board; it ends with its standard input, at the latest with ours."""

    def __init__(self, program: Path) -> None:
        """Start it and learn its port."""
        try:
            self._process: subprocess.Popen[str] = subprocess.Popen(
                [str(program)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                encoding="utf-8",
            )
        except OSError as error:
            raise BoardError(f"native: {program.name} does not start ({error})") from None
        atexit.register(self.end)
        assert self._process.stdout is not None
        words = self._process.stdout.readline().split()
        if len(words) != 2 or not words[1].isdigit():
            self.end()
            raise BoardError(f"native: {program.name} ended without telling its port")
        self.port = int(words[1])

    @property
    def alive(self) -> bool:
        """Whether the process runs."""
        return self._process.poll() is None

    @property
    def process_id(self) -> int:
        """Its number, for tests that end it."""
        return self._process.pid

    def end(self) -> None:
        """End the process: ask, then insist."""
        atexit.unregister(self.end)
        process: Any = self._process
        for stream in (process.stdin, process.stdout):
            with suppress(OSError):
                stream.close()
        with suppress(OSError):
            process.terminate()
        try:
            process.wait(END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


class NativeBoard(LinkBoard):
    """A native process behind the link; after a bench fault it is started anew when it has gone."""

    def __init__(
        self,
        pairing: Pairing,
        program: Path,
        timing: Timing | None = None,
        byte_log: Path | None = None,
        wrap: Callable[[Port], Port] | None = None,
    ) -> None:
        """Start the process and say hello; `wrap` puts something between the host and the line."""
        self._program = program
        self._byte_log = byte_log
        self._wrap = wrap
        self.process = NativeProcess(program)
        try:
            super().__init__(pairing, self._line, timing)
        except BaseException:
            self.process.end()
            raise

    def rewrap(self, wrap: Callable[[Port], Port]) -> None:
        """Put something else between the host and the line from the next opening on."""
        self._wrap = wrap

    def _line(self) -> Port:
        """Return a fresh connection to a process that runs."""
        if not self.process.alive:
            self.process.end()
            self.process = NativeProcess(self._program)
        port: Port = TcpPort("127.0.0.1", self.process.port)
        if self._wrap is not None:
            port = self._wrap(port)
        return port if self._byte_log is None else LoggedPort(port, ByteLog(self._byte_log))

    def close(self) -> None:
        """Let go of the line and end the process."""
        super().close()
        self.process.end()


def missing() -> str:
    """Return what this machine lacks for the board, empty when nothing."""
    try:
        find(NATIVE)
    except BoardError as error:
        return str(error)
    return ""


def open(name: str, pairing: Pairing, options: BoardOptions) -> NativeBoard:  # noqa: A001
    """Open the native board of a pairing."""
    del name
    return NativeBoard(pairing, executable(pairing), options.timing, options.byte_log)
