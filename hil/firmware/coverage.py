"""Decision coverage of the C core by the stored corpora of all pairings.

The core is built with gcc's counters, run over every vector, and gcovr works out for every decision
(`if`, loop, `switch` case) whether it went both ways. Decisions that the corpora do not reach are
held against a list with reasons, `uncovered.toml`.
"""

import json
import shutil
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path

from hil.boards.interface import BoardError
from hil.firmware import tables
from hil.firmware.building import CORE, core_sources
from hil.firmware.toolchains import LANGUAGE
from hil.mutation.stream import write_stream
from hil.mutation.trial import REPLAY
from hil.runner import Pairings, is_vector

REASONS = Path(__file__).with_name("uncovered.toml")
NO_TOOL = "no coverage tool: needs gcc and gcovr; Debian: apt-get install gcc libc6-dev gcovr"


@dataclass(frozen=True, slots=True)
class Decision:
    """A way a decision can go that no vector takes: file, line, its text, `true` or `false`."""

    file: str
    line: int
    text: str
    way: str


@dataclass(frozen=True, slots=True)
class Coverage:
    """Ways the decisions of the core can go, how many were taken, and which were not."""

    ways: int
    taken: int
    missing: tuple[Decision, ...]

    def percent_tenths(self) -> int:
        """Return the share taken in tenths of a percent, rounded down."""
        return 1000 * self.taken // max(self.ways, 1)


def gcovr() -> list[str]:
    """Return how gcovr is called; raises BoardError without it or without gcc."""
    if shutil.which("gcc") is None:
        raise BoardError(NO_TOOL)
    beside = Path(sys.executable).with_name("gcovr")
    path = str(beside) if beside.exists() else shutil.which("gcovr")
    if path is None:
        raise BoardError(NO_TOOL)
    return [path]


def measure(pairings: Pairings, names: list[str], vectors: Path, folder: Path) -> Coverage:
    """Run all vectors of the named pairings on counted cores; return the coverage of the core."""
    tool = gcovr()
    for name in names:
        count_pairing(pairings, name, vectors / name, folder / name)
    report = folder / "coverage.json"
    command = [*tool, "--root", str(CORE), "--filter", f"{CORE}/", "--decisions", "--json"]
    command += [str(report), "--object-directory", str(folder), str(folder)]
    run(command, folder)
    return read(report)


def count_pairing(pairings: Pairings, name: str, vectors: Path, folder: Path) -> None:
    """Build the counted core of one pairing and run its vectors."""
    pairing = pairings.names(name).pairing
    folder.mkdir(parents=True)
    generated = [path for path in tables.write(pairing, folder) if path.suffix == ".c"]
    includes = [f"-I{CORE}", f"-I{CORE / 'functions'}", f"-I{folder}"]
    command = ["gcc", *LANGUAGE, "-O0", "--coverage", "-w", *includes]
    run([*command, "-c", *map(str, core_sources())], folder)
    rest = [*map(str, generated), str(REPLAY)]
    run(["gcc", *LANGUAGE, "-w", *includes, "-c", *rest], folder)
    objects = sorted(str(path) for path in folder.glob("*.o"))
    run(["gcc", "--coverage", *objects, "-o", "counted"], folder)
    paths = [path for path in sorted(vectors.iterdir()) if is_vector(path)]
    write_stream(paths, pairings, folder / "stimulus")
    run(["./counted", "record", "stimulus", "result"], folder)


def run(command: list[str], folder: Path) -> None:
    """Run one step; raises BoardError with the last line it said."""
    done = subprocess.run(command, cwd=folder, capture_output=True, encoding="utf-8", check=False)
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
        raise BoardError(f"{Path(command[0]).name} failed: {last}")


def read(report: Path) -> Coverage:
    """Return the coverage out of gcovr's JSON."""
    ways = taken = 0
    missing: list[Decision] = []
    for entry in json.loads(report.read_text(encoding="utf-8"))["files"]:
        path = CORE / entry["file"]
        text = path.read_text(encoding="utf-8").splitlines()
        seen: dict[tuple[int, str], int] = {}
        for line in entry["lines"]:
            decision = line.get("gcovr/decision") or {}
            if decision.get("type") == "conditional":
                counts = {"true": decision["count_true"], "false": decision["count_false"]}
            elif decision.get("type") == "switch":
                counts = {"taken": decision["count"]}
            else:
                continue
            for way, count in counts.items():
                place = (line["line_number"], way)
                seen[place] = seen.get(place, 0) + count
        for (number, way), count in sorted(seen.items()):
            ways += 1
            taken += count > 0
            if count == 0:
                file = path.relative_to(CORE).as_posix()
                missing.append(Decision(file, number, text[number - 1].strip(), way))
    return Coverage(ways, taken, tuple(missing))


def reasons(path: Path = REASONS) -> dict[tuple[str, str, str], str]:
    """Return the written reasons: file, text of the line and way to why no vector goes there."""
    if not path.is_file():
        return {}
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    return {(one["file"], one["text"], one["way"]): one["why"] for one in table["decision"]}
