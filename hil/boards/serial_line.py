"""Boards on a line: a serial port, any pyserial URL, a TCP address, or a selector.

A selector says which adapter is meant however the system numbers it: its USB serial number, its
vendor and product number (`0483:374B`), or its place (`1-1.4`).
"""

import re
import shlex
import subprocess
import time
from typing import Any, NamedTuple

from hil.boards.interface import BoardError, BoardTimeoutError
from hil.boards.options import BoardOptions
from hil.link.board import LinkBoard
from hil.link.port import ByteLog, LoggedPort, Port, open_port
from xlate_core.pairing.model import Pairing

VENDOR_PRODUCT = re.compile(r"[0-9A-Fa-f]{4}:[0-9A-Fa-f]{4}")
PORT_NAME = re.compile(r"(/dev/.+|COM\d+|\\\\\.\\.+|[a-z0-9+]+://.*)", re.IGNORECASE)
RECOVER_LIMIT_S = 60.0


class Candidate(NamedTuple):
    """A serial port of this machine and the words that select it."""

    device: str
    selector: str
    description: str


def candidates() -> list[Candidate]:
    """Return the serial ports there are, USB adapters with the selector to use."""
    from serial.tools import list_ports

    found = []
    for port in sorted(list_ports.comports(), key=lambda one: str(one.device)):
        found.append(Candidate(port.device, selector_of(port), str(port.description or "")))
    return found


def selector_of(port: Any) -> str:
    """Return the steadiest selector of a port: serial number, else numbers, else place, or none."""
    if port.serial_number:
        return str(port.serial_number)
    if port.vid is not None and port.pid is not None:
        return f"{port.vid:04X}:{port.pid:04X}"
    return str(port.location or "")


def is_port_name(name: str) -> bool:
    """Return whether a name is a port or URL, no selector."""
    return PORT_NAME.fullmatch(name) is not None


def resolve(name: str) -> str:
    """Return the port a name or selector stands for; raises BoardError when none or several do."""
    if is_port_name(name):
        return name
    from serial.tools import list_ports

    ports = list(list_ports.comports())
    if VENDOR_PRODUCT.fullmatch(name):
        wanted = tuple(int(part, 16) for part in name.split(":"))
        matching = [port for port in ports if (port.vid, port.pid) == wanted]
    else:
        matching = [port for port in ports if name in (port.serial_number, port.location)]
    if not matching:
        raise BoardError(f"{name}: no such board; `xlate board list` shows those there are")
    if len(matching) > 1:
        devices = ", ".join(sorted(str(port.device) for port in matching))
        raise BoardError(f"{name}: several boards answer to that: {devices}; name one of them")
    return str(matching[0].device)


def open(name: str, pairing: Pairing, options: BoardOptions) -> LinkBoard:  # noqa: A001
    """Open a board on a line; a recover command runs when it does not answer hello."""

    def line() -> Port:
        port = open_port(resolve(name), options.baud)
        return port if options.byte_log is None else LoggedPort(port, ByteLog(options.byte_log))

    tries = options.recover_tries if options.recover else 0
    while True:
        try:
            return LinkBoard(pairing, line, options.timing)
        except BoardTimeoutError as error:
            if tries <= 0:
                if options.recover:
                    raise BoardTimeoutError(
                        f"{error}; `{options.recover}` ran {options.recover_tries} times without "
                        "reviving it"
                    ) from None
                raise
            tries -= 1
            revive(options.recover)


def revive(command: str) -> None:
    """Run the recover command; raises BoardError when it fails or does not end."""
    try:
        done = subprocess.run(
            shlex.split(command), capture_output=True, timeout=RECOVER_LIMIT_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired, ValueError) as error:
        raise BoardError(f"the recover command `{command}` does not run: {error}") from None
    if done.returncode != 0:
        raise BoardError(f"the recover command `{command}` failed with code {done.returncode}")
    time.sleep(0.1)
