"""Boards and lines that misbehave, over real TCP."""

import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from random import Random
from typing import Any

from hil.link import layouts
from hil.link.framing import Decoder, Packet, encode
from hil.link.layouts import Kind
from xlate_core.interface import RULES
from xlate_core.pairing.model import Pairing


class Server:
    """A TCP server on a free port; every connection is handed to a function in a thread."""

    def __init__(self, serve: Callable[[socket.socket, int], None]) -> None:
        self._serve = serve
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"
        self._open: list[socket.socket] = []
        self._thread = threading.Thread(target=self._accept, daemon=True)
        self._thread.start()

    def _accept(self) -> None:
        number = 0
        while True:
            try:
                line, _ = self._listener.accept()
            except OSError:
                return
            self._open.append(line)
            threading.Thread(target=self._one, args=(line, number), daemon=True).start()
            number += 1

    def _one(self, line: socket.socket, number: int) -> None:
        with suppress(OSError):
            self._serve(line, number)

    def close(self) -> None:
        self._listener.close()
        for line in self._open:
            with suppress(OSError):
                line.close()


def identity(carried: Pairing, **changed: Any) -> bytes:
    said: dict[str, Any] = {
        "link": layouts.LINK_VERSION,
        "firmware_major": layouts.FIRMWARE_VERSION[0],
        "firmware_minor": layouts.FIRMWARE_VERSION[1],
        "firmware_patch": layouts.FIRMWARE_VERSION[2],
        "rules": RULES,
        "tick_ms": carried.spec.tick_ms,
        "image_octets": 100,
        "packet_octets": 256,
        "slots": 8,
        "ring_octets": 2048,
        "boots": 1,
        "cause": 0,
        "pairing": bytes.fromhex(carried.digest),
        "board": b"fake".ljust(16, b"\0"),
    }
    said.update(changed)
    return bytes(layouts.IDENTITY.build(said))


def answers_hello(payload: bytes) -> Callable[[socket.socket, int], None]:
    """A board that answers hello and nothing else."""

    def serve(line: socket.socket, number: int) -> None:
        del number
        decoder = Decoder()
        while octets := line.recv(4096):
            for packet in decoder.feed(octets):
                if packet.kind == Kind.HELLO:
                    line.sendall(encode(Packet(Kind.IDENTITY, 0, packet.nonce, 0, 0, payload)))

    return serve


def silent(line: socket.socket, number: int) -> None:
    """Nobody there."""
    del number
    while line.recv(4096):
        pass


def babbling(line: socket.socket, number: int) -> None:
    """Something else than our firmware."""
    chance = Random(number)
    while line.recv(4096):
        line.sendall(chance.randbytes(50))


def between(
    port: int, trouble: str, after: int, connections: int
) -> Callable[[socket.socket, int], None]:
    """A line to a healthy board that goes wrong once `after` octets came from it after hello.

    Only the first so many connections go wrong.
    """

    def serve(line: socket.socket, number: int) -> None:
        board = socket.create_connection(("127.0.0.1", port))
        seen = {"nonce": 0, "octets": 0, "after_hello": 0}
        wrong = threading.Event()

        def forward() -> None:
            decoder = Decoder()
            with suppress(OSError):
                while octets := line.recv(65536):
                    for packet in decoder.feed(octets):
                        seen["nonce"] = packet.nonce
                        seen["after_hello"] |= packet.kind != Kind.HELLO
                    if not (wrong.is_set() and trouble in ("hang", "garbage")):
                        board.sendall(octets)
            with suppress(OSError):
                board.shutdown(socket.SHUT_RDWR)

        threading.Thread(target=forward, daemon=True).start()
        chance = Random(1)
        with suppress(OSError):
            while octets := board.recv(65536):
                seen["octets"] += len(octets) if seen["after_hello"] else 0
                if number < connections and seen["octets"] > after and not wrong.is_set():
                    wrong.set()
                    if trouble == "unplug":
                        break
                    if trouble == "restart":
                        board.sendall(
                            b"\0" + encode(Packet(Kind.RESTART, 0, seen["nonce"], 0, 0, b""))
                        )
                        continue
                if wrong.is_set() and trouble == "hang":
                    continue
                if wrong.is_set() and trouble == "garbage":
                    for _ in range(200):
                        line.sendall(chance.randbytes(100))
                    continue
                line.sendall(octets)
        line.close()
        board.close()

    return serve
