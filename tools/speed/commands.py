"""Whole commands as a person runs them: a long drive, and from an edit to the verdict."""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from hil.vectors import driving
from hil.vectors.names import names_of
from tools.environment import last_line
from tools.speed.engine import PAIRING, SEED
from tools.speed.rows import HOUR_S, Floor, Measured, Row, an_hour
from xlate_core.pairing import load

ROOT = Path(__file__).resolve().parents[2]
PAIRINGS = PAIRING.parent
XLATE = (sys.executable, "-m", "tools.cli.main")

VERDICT = "expectations are met"  # in the line that says it
HOUR_FLOOR = Floor(40, True, "< 40 s")
EDITS: tuple[tuple[str, str, Floor, list[str], list[str]], ...] = (
    ("edit_to_verdict", "edit to verdict: whole corpus", Floor(8, True, "< 8 s"), [], []),
    ("edit_changed", "edit to verdict: --changed", Floor(8, True, "< 8 s"), [], ["--changed"]),
    (
        "edit_machine",
        "edit to verdict: --changed, machine code",
        Floor(8, True, "< 8 s"),
        ["--machine-code"],
        ["--changed"],
    ),
)


class CommandFailedError(Exception):
    """A measured command did not do its work; the text is its last line."""


def measure_drive(measured: Measured, seconds: int, said: Callable[[str], None]) -> None:
    """Add the row of `vectors run` over an hour of driving.

    `seconds` is at least 2. From a shorter drive the hour is the straight line through it and one
    of a second, so that starting the command is not multiplied.
    """
    key, what = "run_hour", "vectors run, one hour"
    note = ""
    try:
        value = an_hour(lambda drive_s: _run_drive(drive_s, said), seconds)
        if seconds != HOUR_S:
            note = f"drives of 1 s and {seconds} s were run, the hour is on the line through both"
    except CommandFailedError as error:
        measured.rows.append(Row(key, what, None, "s", floor=HOUR_FLOOR, note=str(error)))
        return
    measured.rows.append(Row(key, what, value, "s", 1, floor=HOUR_FLOOR, note=note))
    measured.compared.append(
        "vectors run: processor time of `xlate vectors run` over a drive of farm_pickup on the "
        "board reference, start and comparison of every tick included; writing it is not."
    )


def _run_drive(seconds: int, said: Callable[[str], None]) -> float:
    """Return the processor time in seconds of running a drive, written for it."""
    said(f"vectors run: {seconds} s of driving, written first")
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        pairing = load(PAIRING)
        ticks = seconds * 1000 // pairing.spec.tick_ms
        vector = driving.write(names_of(pairing), SEED, ticks, Path(folder))
        return _processor_time(["vectors", "run", str(vector), "--pairings", str(PAIRINGS)])


def measure_edit(measured: Measured, scenarios: Path, said: Callable[[str], None]) -> None:
    """Add the rows from saving a changed bridge.toml to the verdict of the corpus.

    The verdict is that of `vectors generate`: every expectation of a person judged anew.
    """
    files = sorted(scenarios.rglob("*.scenario"))
    said(f"edit to verdict: {len(files)} scenarios")
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        pairings, vectors = Path(folder) / "pairings", Path(folder) / "vectors"
        shutil.copytree(PAIRINGS, pairings)
        vectors.mkdir()
        where = [str(scenarios), "--vectors", str(vectors), "--pairings", str(pairings)]
        for key, what, floor, before, after in EDITS:
            began, before_change = time.perf_counter(), os.times()
            _change(pairings / PAIRING.name / "bridge.toml")
            try:
                if not files:
                    raise CommandFailedError("there is no scenario")
                verdict_at = _until_verdict([*before, "vectors", "generate", *after, *where])
            except CommandFailedError as error:
                measured.rows.append(Row(key, what, None, "s", floor=floor, note=str(error)))
                continue
            whole = time.perf_counter() - began
            used = _of_children(before_change, os.times())
            note = (
                f"scenarios: {len(files)}; all vectors {whole:.1f} s, processor time {used:.1f} s"
            )
            row = Row(key, what, verdict_at - began, "s", 1, floor=floor, note=note)
            measured.rows.append(row)
    measured.compared.append(
        "edit to verdict: from saving bridge.toml (the description of farm_pickup changed, in a "
        "copy of the pairings) through `xlate vectors generate` (every expectation of a person "
        "judged anew) to the verdict, on a wall clock; the vectors of scenarios that expect "
        "nothing are written after it. `--changed` leaves out the scenarios of the other pairings, "
        "which the edit cannot touch."
    )


def _change(bridge_file: Path) -> None:
    """Save a change that the load cannot miss and that alters no behaviour."""
    text = bridge_file.read_text(encoding="utf-8")
    changed = text.replace('description = "', 'description = "Edited. ', 1)  # longer every time
    if changed == text:
        raise ValueError(f"{bridge_file.name} has no description to change")
    bridge_file.write_text(changed, encoding="utf-8")


def _until_verdict(arguments: list[str]) -> float:
    """Run `vectors generate` to its end; return when it said the verdict, by `perf_counter`."""
    verdict = None
    with (
        tempfile.TemporaryFile("w+", encoding="utf-8", errors="replace") as complaints,
        subprocess.Popen(
            [*XLATE, *arguments],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=complaints,
            encoding="utf-8",
            errors="replace",
        ) as command,
    ):
        for line in command.stdout or ():
            if verdict is None and VERDICT in line:
                verdict = time.perf_counter()
        if command.wait() not in (0, 1):
            complaints.seek(0)
            raise _failed(arguments, complaints.read())
    return time.perf_counter() if verdict is None else verdict


def _run(arguments: list[str]) -> None:
    """Run a command; a verdict of any kind (exit code 0 or 1) is its work done."""
    done = subprocess.run(
        [*XLATE, *arguments],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if done.returncode not in (0, 1):
        raise _failed(arguments, done.stdout + done.stderr)


def _failed(arguments: list[str], said: str) -> CommandFailedError:
    return CommandFailedError(f"`xlate {' '.join(arguments[:3])}` failed: {last_line(said)}")


def _processor_time(arguments: list[str]) -> float:
    """Return the processor time in seconds a command used, user and system together."""
    before = os.times()
    _run(arguments)
    return _of_children(before, os.times())


def _of_children(before: os.times_result, after: os.times_result) -> float:
    """Return the processor time in seconds of commands that ended in between."""
    user = after.children_user - before.children_user
    return user + after.children_system - before.children_system
