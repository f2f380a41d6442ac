"""Fuzz targets of the firmware: the link's decoder and the core's `receive`, under libFuzzer."""

import random
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from hil.boards.interface import BoardError
from hil.firmware import tables
from hil.firmware.building import CORE, LINK, core_sources
from hil.firmware.toolchains import LANGUAGE
from hil.link.records import DIGEST_REQUEST, reset_record, ticks_records
from xlate_core.bridge import ResetCause
from xlate_core.pairing.model import Pairing

FOLDER = Path(__file__).resolve().parent / "fuzz"
TARGETS = ("link", "receive")
SANITIZERS = "-fsanitize=fuzzer,address,undefined"
NO_FUZZER = (
    "no fuzzer: needs clang with libFuzzer; Debian: apt-get install clang libclang-rt-14-dev"
)
LONGEST = 4096
FINDING = 77
"""Exit code we ask libFuzzer for when it finds something."""


@dataclass(frozen=True, slots=True)
class Fuzzed:
    """What a run came to: `finding` is the input that breaks the target, None without."""

    target: str
    runs: int
    finding: Path | None
    words: str


def build(pairing: Pairing, target: str, folder: Path) -> Path:
    """Build a target for a pairing; raises BoardError without clang or its libFuzzer."""
    clang = shutil.which("clang")
    if clang is None:
        raise BoardError(NO_FUZZER)
    generated = [path for path in tables.write(pairing, folder) if path.suffix == ".c"]
    link = sorted(LINK.glob("*.c")) if target == "link" else []
    files = [*core_sources(), *generated, *link, FOLDER / f"{target}.c"]
    includes = [f"-I{path}" for path in (CORE, CORE / "functions", LINK, folder)]
    program = folder / f"fuzz_{target}"
    command = [clang, *LANGUAGE, "-O1", "-g", "-w", SANITIZERS, "-fno-sanitize-recover=all"]
    done = subprocess.run(
        [*command, *includes, *map(str, files), "-o", str(program)],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    if done.returncode != 0:
        if "libclang_rt" in done.stderr:
            raise BoardError(NO_FUZZER)
        raise BoardError(f"clang refuses the target {target}: {done.stderr.strip()[:500]}")
    return program


def seeds(target: str, folder: Path) -> Path:
    """Write a few inputs to begin with, the same every time; return their folder."""
    place = folder / f"seeds_{target}"
    place.mkdir(exist_ok=True)
    chance = random.Random(target)
    for number in range(8):
        if target == "receive":
            octets = b"".join(
                bytes([chance.choice((2, 50, 101, 103, 1))]) + chance.randbytes(12)
                for _ in range(60)
            )
        else:
            octets = link_seed(chance)
        (place / str(number)).write_bytes(octets)
    return place


def link_seed(chance: random.Random) -> bytes:
    """Return an input that says packets: a hello, then work with a reset, inputs and ticks."""
    packets = bytearray(b"\1" + bytes([0, 0, 0]))
    for _ in range(6):
        work = reset_record(ResetCause.COMMANDED, False) + ticks_records(chance.randrange(1, 40))
        work += chance.choice((DIGEST_REQUEST, chance.randbytes(8)))
        packets += bytes([chance.choice((3, 6, 7)), 0, len(work)]) + work
    return bytes(packets)


def run(program: Path, target: str, folder: Path, seconds: int, seed: int) -> Fuzzed:
    """Fuzz for some seconds; findings and new inputs stay in the folder."""
    corpus = folder / f"corpus_{target}"
    corpus.mkdir(exist_ok=True)
    command = [str(program), f"-max_total_time={seconds}", f"-max_len={LONGEST}", f"-seed={seed}"]
    command += [f"-error_exitcode={FINDING}", "-timeout=10", "-print_final_stats=1"]
    command += [f"-artifact_prefix={folder}/", str(corpus), str(seeds(target, folder))]
    before = set(folder.glob("*-*"))
    done = subprocess.run(
        command, capture_output=True, encoding="utf-8", errors="replace", check=False
    )
    found = sorted(set(folder.glob("*-*")) - before)
    runs = 0
    for line in done.stderr.splitlines():
        if "stat::number_of_executed_units" in line:
            runs = int(line.split()[-1])
    last = [line for line in done.stderr.splitlines() if "ERROR" in line or "SUMMARY" in line]
    words = last[0].strip() if last else (done.stderr.strip().splitlines() or [""])[-1]
    if done.returncode != 0 and not found:
        raise BoardError(f"the fuzzer ended with {done.returncode}: {words}")
    return Fuzzed(target, runs, found[0] if found else None, words)
