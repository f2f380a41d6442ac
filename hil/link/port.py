"""The way to a board: octets in, octets out, everything logged.

TCP has a port of its own, because pyserial's `socket://` hands octets over one by one; everything
else goes through pyserial. Opening failures are told in the words of what a person can do.
"""

import contextlib
import errno
import os
import select
import socket
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO, Protocol
from urllib.parse import urlsplit

from hil.boards.interface import BoardError
from xlate_core.errors import InputError

CHUNK = 1 << 16
TCP = "socket://"
DEFAULT_BAUD = 921_600
CONNECT_S = 3.0
SENT = b">"
RECEIVED = b"<"
LOG_LIMIT = 64 << 20
"""Octets after which the byte log goes on in a second file; the one before is kept."""


class Port(Protocol):
    """A line to a board."""

    name: str

    def write(self, octets: bytes) -> None:
        """Hand octets over; raises BoardError when the line is gone."""

    def read(self, timeout_s: float) -> bytes:
        """Return what arrived, after at most a time; empty when nothing did."""

    def close(self) -> None:
        """Let go of the line."""


class ByteLog:
    """Every octet of the link in a file: direction, microseconds since start, length, octets.

    A record is `>` (to the board) or `<`, 8 octets of time, 4 of length (little-endian), then the
    octets.
    """

    def __init__(self, path: Path) -> None:
        """Begin a log file; a former one is carried on."""
        self.path = path
        self._began = time.monotonic_ns()
        path.parent.mkdir(parents=True, exist_ok=True)
        self._stream: BinaryIO = path.open("ab")

    def add(self, direction: bytes, octets: bytes) -> None:
        """Note octets."""
        passed = (time.monotonic_ns() - self._began) // 1000
        head = direction + passed.to_bytes(8, "little") + len(octets).to_bytes(4, "little")
        self._stream.write(head + octets)
        if self._stream.tell() > LOG_LIMIT:
            self._stream.close()
            self.path.replace(self.path.with_suffix(".before" + self.path.suffix))
            self._stream = self.path.open("wb")

    def close(self) -> None:
        """Close the file."""
        self._stream.close()


def read_log(path: Path) -> list[tuple[bytes, int, bytes]]:
    """Return (direction, microseconds, octets) of a byte log; a torn last record is left out."""
    octets = path.read_bytes()
    found = []
    place = 0
    while place + 13 <= len(octets):
        length = int.from_bytes(octets[place + 9 : place + 13], "little")
        if place + 13 + length > len(octets):
            break
        passed = int.from_bytes(octets[place + 1 : place + 9], "little")
        found.append((octets[place : place + 1], passed, octets[place + 13 : place + 13 + length]))
        place += 13 + length
    return found


class LoggedPort:
    """A port whose traffic goes into a byte log."""

    def __init__(self, port: Port, log: ByteLog) -> None:
        """Put a log around a port."""
        self.name = port.name
        self._port = port
        self._log = log

    def write(self, octets: bytes) -> None:
        """Hand octets over."""
        self._log.add(SENT, octets)
        self._port.write(octets)

    def read(self, timeout_s: float) -> bytes:
        """Return what arrived."""
        octets = self._port.read(timeout_s)
        if octets:
            self._log.add(RECEIVED, octets)
        return octets

    def close(self) -> None:
        """Close port and log."""
        self._port.close()
        self._log.close()


class TcpPort:
    """A TCP connection."""

    def __init__(self, host: str, port: int) -> None:
        """Connect; raises BoardError when nobody answers there."""
        self.name = f"socket://{host}:{port}"
        try:
            self._socket = socket.create_connection((host, port), timeout=CONNECT_S)
        except OSError as error:
            raise BoardError(f"{self.name}: no connection ({error.strerror or error})") from None
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def write(self, octets: bytes) -> None:
        """Send octets."""
        try:
            self._socket.sendall(octets)
        except OSError as error:
            raise BoardError(f"{self.name}: the line is gone ({error.strerror or error})") from None

    def read(self, timeout_s: float) -> bytes:
        """Return what arrived."""
        try:
            ready, _, _ = select.select([self._socket], [], [], timeout_s)
            if not ready:
                return b""
            octets = self._socket.recv(CHUNK)
        except (OSError, ValueError) as error:
            raise BoardError(f"{self.name}: the line is gone ({error})") from None
        if not octets:
            raise BoardError(f"{self.name}: the line is gone (closed by the other side)")
        return octets

    def close(self) -> None:
        """Close the connection."""
        with contextlib.suppress(OSError):
            self._socket.close()


class SerialPort:
    """A serial port or any other pyserial URL.

    DTR and RTS are set before opening, so that opening does not restart boards that reset on DTR;
    the port is ours alone while it is open.
    """

    def __init__(self, url: str, baud: int = DEFAULT_BAUD) -> None:
        """Open; raises BoardError with what a person can do about a failure."""
        import serial

        self.name = url
        try:
            self._port: Any = serial.serial_for_url(url, baudrate=baud, do_not_open=True)
            self._port.dtr = False
            self._port.rts = False
            with contextlib.suppress(AttributeError, ValueError, NotImplementedError):
                self._port.exclusive = True
            self._port.timeout = 0
            self._port.open()
        except (serial.SerialException, OSError, ValueError) as error:
            raise BoardError(opening_failure(url, error)) from None
        self._lost: type[Exception] = serial.SerialException

    def write(self, octets: bytes) -> None:
        """Send octets."""
        try:
            self._port.write(octets)
        except (self._lost, OSError) as error:
            raise BoardError(f"{self.name}: the port is gone ({error})") from None

    def read(self, timeout_s: float) -> bytes:
        """Return what arrived."""
        try:
            self._port.timeout = timeout_s
            first: bytes = self._port.read(1)
            if not first:
                return b""
            return first + bytes(self._port.read(self._port.in_waiting or 0))
        except (self._lost, OSError, TypeError) as error:
            raise BoardError(f"{self.name}: the port is gone ({error})") from None

    def close(self) -> None:
        """Close the port."""
        with contextlib.suppress(Exception):
            self._port.close()


def opening_failure(url: str, error: Exception) -> str:
    """Return one sentence that says why a port could not be opened and what helps."""
    number = getattr(error, "errno", None)
    text = str(error)
    if number == errno.ENOENT or "FileNotFoundError" in text or "No such file" in text:
        return f"{url}: no such port; `xlate board list` shows those there are"
    if number in (errno.EACCES, errno.EPERM) or "Permission" in text:
        return f"{url}: permission denied; {permission_advice(url)}"
    if number in (errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK) or "exclusively lock" in text:
        return f"{url}: the port is in use by another program; close that one first"
    if "Access is denied" in text or "PermissionError" in text:
        return f"{url}: access denied: another program has the port open, or its driver is missing"
    return f"{url}: cannot be opened ({text})"


def permission_advice(url: str) -> str:
    """Return which group may open a port, as far as the system tells."""
    if sys.platform == "win32":
        return "another program has it open, or the driver of the adapter is missing"
    path = Path(url)
    with contextlib.suppress(ImportError, KeyError, OSError):
        import grp

        group = grp.getgrgid(path.stat().st_gid).gr_name
        return f"it belongs to group `{group}`: `sudo usermod -aG {group} $USER`, then log in again"
    return f"add user {os.environ.get('USER', '')} to the group the port belongs to"


def open_port(url: str, baud: int = DEFAULT_BAUD) -> Port:
    """Open a port by its name or URL."""
    if url.startswith(TCP):
        return TcpPort(*tcp_address(url))
    return SerialPort(url, baud)


def tcp_address(url: str) -> tuple[str, int]:
    """Return host and port of a TCP address; raises InputError when it is none."""
    parts = urlsplit(url)
    try:
        host, port = parts.hostname, parts.port
    except ValueError:
        host = port = None
    if not host or not port:
        raise InputError(f"{url}: no TCP address; expected socket://HOST:PORT")
    return host, port


OpenPort = Callable[[], Port]
"""How a board (re)opens its line."""
