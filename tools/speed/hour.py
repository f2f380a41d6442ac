"""An hour of driving out of the compact store, through the fast form, compared bit for bit."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tools.logs.kept_drive import Replayed, keep, replay_kept
from tools.speed.engine import PAIRING, SEED, TRANSLATED
from tools.speed.rows import HOUR_S, Floor, Measured, Row, an_hour
from xlate_core.pairing import load

FLOOR = Floor(6, True, "<= 6 s")


def measure(measured: Measured, seconds: int, said: Callable[[str], None]) -> None:
    """Add the row of the hour, worked out from a kept drive of at least 2 `seconds`."""
    key, what = "replay_hour", "replay from the store, one hour"
    said(f"replay from the store: {seconds} s of driving, kept first")
    value, done = of_driving(seconds)
    note = f"{done.ticks} ticks, {done.frames_in} frames in, {done.frames_out} out"
    note = f"interpreted; {TRANSLATED}; {note}"
    if seconds != HOUR_S:
        note += f"; worked out from drives of 1 s and {seconds} s, on the line through both"
    if done.difference:
        note, value_or_none = f"not replayed: {done.difference}", None
    else:
        value_or_none = value
    measured.rows.append(Row(key, what, value_or_none, "s", 1, floor=FLOOR, note=note))
    measured.compared.append(
        "replay from the store: processor time from opening the kept drive of farm_pickup to the "
        "verdict, loading of the pairing, all reading and comparing included; every sent frame "
        "compared in its tick, pins and commands by CRC, the state by its digest at the end."
    )


def of_driving(seconds: int, plain: bool = False) -> tuple[float, Replayed]:
    """Return the processor time in seconds of an hour, and the drive it is worked out from."""
    replayed: dict[int, Replayed] = {}

    def replay(drive_s: int) -> float:
        took, replayed[drive_s] = _replay(drive_s, plain)
        return took

    return an_hour(replay, seconds), replayed[seconds]


def _replay(seconds: int, plain: bool) -> tuple[float, Replayed]:
    """Return the processor time in seconds of replaying a drive kept for it."""
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        pairing = load(PAIRING)
        path = Path(folder) / "drive.xlog"
        keep(pairing, SEED, seconds * 1000 // pairing.spec.tick_ms, path)
        began = time.process_time()
        done = replay_kept(load(PAIRING), path, plain)
        return time.process_time() - began, done
