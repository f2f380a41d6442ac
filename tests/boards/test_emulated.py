"""The flashable firmware under the emulator: vectors, restarts, and what can be missing."""

import os
import signal
import struct
import subprocess
import time
from contextlib import suppress
from itertools import accumulate
from pathlib import Path
from typing import Any

import pytest
from elftools.elf.elffile import ELFFile

from hil.boards import emulated, emulator
from hil.boards.emulated import EmulatedBoard, firmware
from hil.boards.emulator import Emulator
from hil.boards.interface import BoardError
from hil.boards.options import BoardOptions
from hil.link.free_run import free_run
from hil.runner import Pairings, is_vector, load_for_run, run_vector
from hil.vectors.vector import load_vector
from hil.verdicts import Verdict
from tests.broken.harness import vector_file
from tests.core.test_bridge import PAIRINGS
from tests.link.test_free_run import whole_run
from tests.link.test_lasting import came_back, driven
from tools.environment import ARM_COMPILER, EMULATOR
from xlate_core.bridge import Bridge, ResetCause
from xlate_core.kept_memory import MEMORY_REFUSED, MEMORY_TAKEN
from xlate_core.pairing import load

MISSING = [need for need in (EMULATOR, ARM_COMPILER) if not need.present()]
needs_board = [
    pytest.mark.slow,
    pytest.mark.skipif(
        bool(MISSING), reason="; ".join(f"needs {need.what}. {need.how}" for need in MISSING)
    ),
]
VECTORS = PAIRINGS.parent / "vectors"
BUDGET = {"farm_pickup": 40_000, "minimal": 4_300, "long_nights": 27_000}
"""Ticks of vectors that are run, by pairing, the shortest first; the rest runs on demand:
`xlate vectors run --board emulated`."""
MORE = {"farm_pickup": ("soak_hostile",)}
"""Vectors that are run besides: a minute of random traffic."""


KEEPS = "long_nights"
"""The pairing that keeps most over a restart."""


def place_of(elf: Path, name: str) -> tuple[int, int]:
    """Return address and size of a variable of a firmware."""
    with elf.open("rb") as stream:
        table = ELFFile(stream).get_section_by_name(".symtab")
        found = table.get_symbol_by_name(name)
        assert len(found) == 1
        return int(found[0]["st_value"]), int(found[0]["st_size"])


def add_devices(monkeypatch: pytest.MonkeyPatch, devices: list[str]) -> None:
    """Have every emulator started with more devices."""
    start = subprocess.Popen

    def with_devices(command: list[str], **words: Any) -> Any:
        more = [word for device in devices for word in ("-device", device)]
        return start([*command, *more], **words)

    monkeypatch.setattr(emulator.subprocess, "Popen", with_devices)


def chosen(name: str) -> list[Path]:
    """The shortest vectors of a pairing up to its budget, and those that are run besides."""
    paths = [path for path in (VECTORS / name).iterdir() if is_vector(path)]
    by_ticks = sorted((load_vector(path).header.ticks, path) for path in paths)
    totals = accumulate(ticks for ticks, _ in by_ticks)
    found = [
        path for (_, path), total in zip(by_ticks, totals, strict=True) if total <= BUDGET[name]
    ]
    return found + [vector_file(f"{name}/{more}", VECTORS) for more in MORE.get(name, ())]


class TestOnTheEmulator:
    pytestmark = needs_board

    @pytest.mark.long(35)
    @pytest.mark.parametrize("name", BUDGET)
    def test_a_subset_of_the_corpus_passes(self, name: str) -> None:
        pairings = Pairings(PAIRINGS, load, {})
        paths = chosen(name)
        assert len(paths) >= 10
        board = EmulatedBoard(load(PAIRINGS / name), firmware(load(PAIRINGS / name)))
        try:
            for path in paths:
                vector, names = load_for_run(path, pairings)
                result = run_vector(vector, names, board, "")
                assert result.verdict is Verdict.PASS, "\n".join(result.explanation)
        finally:
            board.close()

    def test_its_own_clock_runs_it_too(self) -> None:
        pairing = load(PAIRINGS / "minimal")
        board = EmulatedBoard(pairing, firmware(pairing))
        try:
            run = whole_run(board, "minimal")
            assert run.difference is None
            assert run.ticks > 50
            assert run.frames_out > 0
        finally:
            board.close()

    def test_it_says_who_it_is_and_why_it_started(self) -> None:
        pairing = load(PAIRINGS / "minimal")
        board = EmulatedBoard(pairing, firmware(pairing))
        try:
            assert board.hello.board == "stm32f405"
            assert board.hello.boots == 1
            assert board.hello.cause == int(ResetCause.POWER_ON)
            assert board.identity().pairing_digest == pairing.digest
        finally:
            board.close()

    def test_what_was_kept_is_back_after_a_restart(self) -> None:
        pairing = load(PAIRINGS / KEEPS)
        board = EmulatedBoard(pairing, firmware(pairing))
        try:
            came_back(board)
        finally:
            board.close()

    @pytest.mark.parametrize("both", [False, True])
    def test_a_damaged_copy_is_refused(self, both: bool, monkeypatch: pytest.MonkeyPatch) -> None:
        """The emulator writes over an octet of the copies at every reset."""
        pairing = load(PAIRINGS / KEEPS)
        elf = firmware(pairing)
        kept = len(Bridge(pairing.spec).kept())
        first, octets = place_of(elf, "lasting")
        assert octets == 2 * kept + 1
        damage = [first + kept // 2] + ([first + kept + kept // 2] if both else [])
        add_devices(monkeypatch, [f"loader,addr={at},data=0xA5,data-len=1" for at in damage])
        board = EmulatedBoard(pairing, elf)
        try:
            reference = driven(board, 1202)
            board.restart()
            reference.reset(ResetCause.COMMANDED, True)
            after = dict(board.dump())
            if both:
                assert after["start.memory"] == MEMORY_REFUSED
                assert after["operation.ticks"] == 0
            else:
                assert after["start.memory"] == MEMORY_TAKEN
                assert 0 <= reference.field("operation.ticks") - after["operation.ticks"] <= 1
        finally:
            board.close()

    def test_a_power_on_has_no_memory(self) -> None:
        pairing = load(PAIRINGS / KEEPS)
        board = EmulatedBoard(pairing, firmware(pairing))
        try:
            driven(board, 300)
            board.recover()  # another emulator
            assert board.hello.cause == int(ResetCause.POWER_ON)
            assert board.image() == Bridge(pairing.spec).image()
        finally:
            board.close()

    def test_its_own_clock_goes_on_with_what_was_kept(self) -> None:
        pairing = load(PAIRINGS / KEEPS)
        board = EmulatedBoard(pairing, firmware(pairing))
        try:
            driven(board, 300)
            for _ in range(9):  # a busy machine may keep the host from the line
                board.restart()
                with suppress(BoardError):
                    run = free_run(board, 0.5, iter(()), as_it_is=True)
                    break
                board.recover()
                driven(board, 300)
            assert run.difference is None
            assert run.ticks > 50
            assert dict(board.dump())["start.memory"] == MEMORY_TAKEN
        finally:
            board.close()

    def test_no_emulator_is_left_behind(self) -> None:
        pairing = load(PAIRINGS / "minimal")
        machine = Emulator(firmware(pairing))
        child = machine._child
        assert child is not None
        machine.close()
        assert child.poll() is not None
        stubborn = Emulator(firmware(pairing))
        child = stubborn._child
        assert child is not None
        os.kill(child.pid, signal.SIGSTOP)  # deaf to every polite request
        emulator.close_all()
        assert child.poll() is not None

    def test_an_emulator_that_dies_ends_the_run_with_a_verdict(self) -> None:
        pairing = load(PAIRINGS / "minimal")
        board = EmulatedBoard(pairing, firmware(pairing))
        port = board.session.port
        assert isinstance(port, emulated.EmulatorPort)
        child = port._emulator._child
        assert child is not None
        child.kill()
        child.wait()
        began = time.monotonic()
        vector, names = load_for_run(chosen("minimal")[0], Pairings(PAIRINGS, load, {}))
        result = run_vector(vector, names, board, "")
        assert result.verdict in (Verdict.BENCH_FAULT, Verdict.TIMEOUT, Verdict.RESET)
        assert time.monotonic() - began < 120
        board.close()


def test_without_an_emulator_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(emulated.shutil, "which", lambda name: None)
    with pytest.raises(BoardError, match="qemu-system-arm is not installed; Debian: apt-get"):
        emulated.open("emulated", load(PAIRINGS / "minimal"), BoardOptions())


def test_a_firmware_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BoardError, match=r"no firmware there .*xlate firmware build"):
        Emulator(tmp_path / "nothing.elf")


@pytest.mark.parametrize(
    "octets", [b"", b"not an ELF file at all, but long enough", b"\x7fELF\x02\x01\x01" + bytes(40)]
)
def test_what_is_no_firmware_is_never_started(octets: bytes, tmp_path: Path) -> None:
    path = tmp_path / "wrong.elf"
    path.write_bytes(octets)
    with pytest.raises(BoardError, match="found no ELF file for 32-bit ARM"):
        Emulator(path)


def test_a_firmware_that_was_cut_is_never_started(tmp_path: Path) -> None:
    head = b"\x7fELF\x01\x01\x01" + bytes(9) + struct.pack("<HH", 2, 40)
    head += bytes(12) + struct.pack("<I", 52) + bytes(10) + struct.pack("<HHH", 40, 3, 0)
    assert len(head) == 52
    for octets in (head[:30], head, head + bytes(119)):  # three section headers have 120 octets
        path = tmp_path / "cut.elf"
        path.write_bytes(octets)
        with pytest.raises(BoardError, match=f"cut short, it has {len(octets)} octets"):
            Emulator(path)
