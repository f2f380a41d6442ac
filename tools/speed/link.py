"""The board native: corpus rate, packets beside a bare echo, and the share of a paced line."""

import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from hil.bench import Bench, BenchPlan
from hil.boards.interface import BoardError
from hil.boards.native import NativeBoard, executable
from hil.comparison import compare
from hil.firmware import programs
from hil.firmware.toolchains import NATIVE
from hil.link.framing import Decoder, Packet, encode
from hil.link.layouts import Kind
from hil.link.pacing import OCTET_BITS, PacedPort
from hil.link.port import Port
from hil.link.records import frame_record, ticks_records
from hil.runner import Pairings, find_vectors, load_for_run
from hil.vectors import driving
from hil.vectors.names import names_of
from hil.vectors.vector import load_vector
from hil.verdicts import Verdict
from tools.speed.engine import PAIRING, SEED
from tools.speed.rows import Floor, Measured, Row, median
from xlate_core.frames import Frame
from xlate_core.pairing import Pairing, load

VECTORS = PAIRING.parents[1] / "vectors"
BAUD = 921_600
SHARE_FLOOR = Floor(95, False, ">= 95 %")
SHORT_TICKS = 60_000
PACKETS = 20_000
IN_FLIGHT = 16
SMALL_MEMORY = ("-DNATIVE_RING=2048u", "-DXB_LINK_PACKET=128u", "-DXB_LINK_SLOTS=16u")
"""The memory of a board: packets of 128 octets, 16 each way, a receive ring of 2 kB."""
ECHO = """
import socket
server = socket.create_server(("127.0.0.1", 0))
print(server.getsockname()[1], flush=True)
line, _ = server.accept()
line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
while octets := line.recv(65536):
    line.sendall(octets)
"""


def measure(
    measured: Measured,
    vectors: Path,
    seconds: int,
    repeats: int,
    said: Callable[[str], None],
) -> None:
    """Add the rows of the link; `seconds` is the length of the drive on the paced line."""
    try:
        measure_corpus(measured, vectors, said)
        measure_packets(measured, repeats, said)
        for latency_ms in (1, 8):
            measure_paced(measured, latency_ms, seconds, said)
    except BoardError as error:
        measured.rows.append(Row("native", "native", None, "x", note=str(error)))


def measure_corpus(measured: Measured, vectors: Path, said: Callable[[str], None]) -> None:
    """Add the row of the corpus on one native board, compared tick by tick."""
    pairings = Pairings(PAIRING.parent, load, {})
    paths = []
    for path in find_vectors([], vectors):
        header = load_for_run(path, pairings)[0].header
        if header.random is None and header.ticks <= SHORT_TICKS:
            paths.append(path)
            executable(pairings.names(header.pairing).pairing)
    said(f"native: {len(paths)} vectors")
    bench = Bench(BenchPlan("native", PAIRING.parent, None), pairings)
    lived = 0
    used = time.perf_counter()
    try:
        for path in paths:
            result = bench.run(path)
            if result.verdict is not Verdict.PASS:
                raise BoardError(f"{path.name}: {result.verdict.value}")
            lived += result.ticks * pairings.names(result.pairing).tick_ms
    finally:
        bench.close()
    used = time.perf_counter() - used
    measured.rows.append(
        Row("native_corpus", "native: corpus, real time", lived / 1000 / used, "x", 1)
    )
    measured.compared.append(
        f"native: {len(paths)} stored vectors of {lived // 1000} s on one native board in one "
        "process, every tick compared and every digest, on a wall clock; random traffic, which "
        "the host has to invent first, is left out."
    )


def measure_packets(measured: Measured, repeats: int, said: Callable[[str], None]) -> None:
    """Add packets a second through the whole link beside an echo of the same octets."""
    said(f"native: {PACKETS} packets, {repeats} times")
    pairing = load(PAIRING)
    frames = [Frame(1, False, 0x100 + number, bytes(8)) for number in range(4)]
    payload = b"".join(map(frame_record, frames)) + ticks_records(1)
    board = NativeBoard(pairing, executable(pairing))
    try:
        linked = median([linked_packets(board, payload) for _ in range(repeats)])
    finally:
        board.close()
    echoed = median([echoed_packets(payload) for _ in range(repeats)])
    what = f"packets of {len(payload)} octets"
    measured.rows += [
        Row("native_packets", f"{what}: native", linked, "/s", repeats, ratio=linked / echoed),
        Row("echo_packets", f"{what}: echo", echoed, "/s", repeats, ratio=1.0),
    ]
    measured.compared.append(
        "packets: requests of 4 frames and a tick, 16 in flight, each executed, answered, "
        "acknowledged and checked, beside a process that sends the same octets back; both hosts "
        "are Python, packets decoded and checked on both; on a wall clock, ratio by the echo."
    )


def linked_packets(board: NativeBoard, payload: bytes) -> float:
    """Return requests done a second."""
    session = board.session
    asked = done = 0
    began = time.perf_counter()
    while done < PACKETS:
        while asked < PACKETS and asked - done < IN_FLIGHT:
            session.submit(Kind.WORK, payload)
            asked += 1
        done += session.next_reply().last
    return PACKETS / (time.perf_counter() - began)


def echoed_packets(payload: bytes) -> float:
    """Return packets a second through a process that echoes."""
    process = subprocess.Popen(
        [sys.executable, "-c", ECHO], stdout=subprocess.PIPE, encoding="utf-8"
    )
    try:
        assert process.stdout is not None
        port = int(process.stdout.readline())
        with socket.create_connection(("127.0.0.1", port)) as line:
            line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            decoder = Decoder()
            asked = done = 0
            began = time.perf_counter()
            while done < PACKETS:
                out = []
                while asked < PACKETS and asked - done < IN_FLIGHT:
                    out.append(encode(Packet(Kind.WORK, 0, 1, asked % 65536, 0, payload)))
                    asked += 1
                if out:
                    line.sendall(b"".join(out))
                done += len(decoder.feed(line.recv(65536)))
            return PACKETS / (time.perf_counter() - began)
    finally:
        process.kill()
        process.wait()


def measure_paced(
    measured: Measured, latency_ms: int, seconds: int, said: Callable[[str], None]
) -> None:
    """Add the share of the line's rate that a drive takes with the memory of a board."""
    said(f"paced line: {BAUD} baud, {latency_ms} ms, {seconds} s of driving")
    pairing = load(PAIRING)
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        built = programs.build(pairing, NATIVE, Path(folder), more_flags=SMALL_MEMORY)
        share = paced_share(pairing, built.path, latency_ms, seconds, Path(folder))
    measured.rows.append(
        Row(
            key=f"paced_{latency_ms}ms",
            what=f"paced line: {latency_ms} ms latency",
            value=share,
            unit="%",
            samples=1,
            floor=SHARE_FLOOR,
        )
    )
    if latency_ms == 1:
        measured.compared.append(
            "paced line: native board with a board's memory (16 packets of 128 octets, ring 2 kB) "
            f"behind a line of {BAUD} baud and that latency each way, in software; a drive of "
            "farm_pickup, octets of the fuller direction by what the line can carry in the time; "
            "a busy machine keeps the host from the line and lowers it."
        )


def paced_share(
    pairing: Pairing, program: Path, latency_ms: int, seconds: int, folder: Path
) -> float:
    """Return the per cent of the line's octets that were used, in the fuller direction."""
    lines: list[PacedPort] = []

    def paced(port: Port) -> Port:
        lines.append(PacedPort(port, BAUD, latency_ms / 1000))
        return lines[-1]

    names = names_of(pairing)
    path = driving.write(names, SEED, seconds * 1000 // names.tick_ms, folder)
    vector = load_vector(path)
    board = NativeBoard(pairing, program, wrap=paced)
    try:
        line = lines[-1]
        before = (line.octets_out, line.octets_in)
        began = time.perf_counter()
        run = compare(vector, names, board)
        took = time.perf_counter() - began
    finally:
        board.close()
    if run.difference is not None:
        raise BoardError("the drive differs on the paced line")
    used = max(line.octets_out - before[0], line.octets_in - before[1])
    return 100 * used * OCTET_BITS / BAUD / took
