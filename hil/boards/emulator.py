"""The emulator of the STM32F405 as a process: started, pinned to one processor, always ended.

QEMU's machine `netduinoplus2` is an STM32F405; its first serial port becomes a TCP port of this
machine. What the machine is sent before its firmware opens the port is lost, so whoever talks to it
waits for what the firmware says first.
"""

import atexit
import contextlib
import os
import shutil
import socket
import struct
import subprocess
import tempfile
import time
import weakref
from pathlib import Path
from types import TracebackType
from typing import Self

from hil.boards.interface import BoardError, BoardTimeoutError
from xlate_core.errors import reason_of

PROGRAM = "qemu-system-arm"
MACHINE = "netduinoplus2"
NO_EMULATOR = (
    f"no emulator: {PROGRAM} is not installed; "
    "Debian: apt-get install --no-install-recommends qemu-system-arm"
)
STARTS = 3  # attempts, since another program may take the free port before the emulator does
START_S = 20.0
END_S = 2.0
ARM = 40  # e_machine of an ELF file
ELF_HEAD = 52  # octets of its head
_running: "weakref.WeakSet[Emulator]" = weakref.WeakSet()


class Emulator:
    """One running emulator. `counting` makes one instruction one nanosecond of its own time.

    To be used in a `with`, or ended by `close`; what was forgotten ends with this process.
    """

    def __init__(self, elf: Path, counting: bool = False) -> None:
        """Start the emulator on a firmware; raises BoardError with one sentence."""
        self.elf = elf
        self.port = 0
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 - closed in `close`
        self._child: subprocess.Popen[bytes] | None = None
        self._line: socket.socket | None = None
        check_firmware(elf)
        if shutil.which(PROGRAM) is None:
            raise BoardError(NO_EMULATOR)
        _running.add(self)
        try:
            for attempt in range(STARTS):
                if self._start(counting):
                    return
                if attempt + 1 == STARTS:
                    raise BoardError(f"the emulator ended at once: {self._last_words()}")
        except BaseException:
            self.close()
            raise

    @property
    def line(self) -> socket.socket:
        """The serial port."""
        if self._line is None:
            raise BoardError("the emulator has ended")
        return self._line

    def _start(self, counting: bool) -> bool:
        """Start the child and open its serial port; False when it ended before that."""
        self.port = free_port()
        serial = f"tcp:127.0.0.1:{self.port},server=on,wait=on,nodelay=on"
        command = [PROGRAM, "-M", MACHINE, "-nodefaults", "-nographic", "-monitor", "none"]
        command += ["-serial", serial, "-kernel", str(self.elf)]
        if counting:
            command += ["-icount", "shift=0,align=off,sleep=off"]
        self._child = subprocess.Popen(
            [*pinned(), *command],
            stdin=subprocess.DEVNULL,
            stdout=self._said,
            stderr=self._said,
        )
        deadline = time.monotonic() + START_S
        while time.monotonic() < deadline:
            if self._child.poll() is not None:
                return False
            with contextlib.suppress(OSError):
                self._line = socket.create_connection(("127.0.0.1", self.port), timeout=1.0)
                self._line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                return True
            time.sleep(0.02)
        raise BoardTimeoutError(f"the emulator opened no serial port within {START_S:.0f} s")

    def _last_words(self) -> str:
        """Return the last line the emulator wrote."""
        self._said.seek(0)
        lines = self._said.read().decode("utf-8", "replace").strip().splitlines()
        return lines[-1] if lines else "it said nothing"

    def close(self) -> None:
        """End the emulator: ask first, then make it."""
        _running.discard(self)
        if self._line is not None:
            self._line.close()
            self._line = None
        child, self._child = self._child, None
        if child is not None:
            for end in (child.terminate, child.kill):
                end()
                with contextlib.suppress(subprocess.TimeoutExpired):
                    child.wait(END_S)
                    break
        self._said.close()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the emulator."""
        self.close()


@atexit.register
def close_all() -> None:
    """End every emulator that still runs."""
    for emulator in list(_running):
        emulator.close()


def free_port() -> int:
    """Return a TCP port of this machine that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def pinned() -> list[str]:
    """Return the start of a command that keeps a program on one processor, where that exists.

    Unpinned, the emulator's threads chase each other over the processors at half the speed.
    """
    if shutil.which("taskset") is None or not hasattr(os, "sched_getaffinity"):
        return []
    processors = sorted(os.sched_getaffinity(0))
    return ["taskset", "-c", str(processors[(os.getpid() + len(_running)) % len(processors)])]


def check_firmware(elf: Path) -> None:
    """Raise BoardError unless the file is a firmware for the board, by the head of its ELF file."""
    try:
        octets = elf.read_bytes()
    except OSError as error:
        raise BoardError(
            f"{elf.as_posix()}: no firmware there ({reason_of(error)}); "
            "make it with `xlate firmware build --board stm32f405`"
        ) from None
    machine = struct.unpack_from("<H", octets, 18)[0] if len(octets) >= 20 else 0
    if octets[:5] != b"\x7fELF\x01" or machine != ARM:
        raise BoardError(
            f"{elf.as_posix()}: found no ELF file for 32-bit ARM, expected what "
            "`xlate firmware build --board stm32f405` makes"
        )
    # The section headers stand last in the file: their place, their size, how many.
    whole = len(octets) >= ELF_HEAD
    if whole:
        place = struct.unpack_from("<I", octets, 32)[0]
        size, count = struct.unpack_from("<HH", octets, 46)
        whole = len(octets) >= place + size * count
    if not whole:
        raise BoardError(
            f"{elf.as_posix()}: the file is cut short, it has {len(octets)} octets; "
            "make it again with `xlate firmware build --board stm32f405`"
        )
