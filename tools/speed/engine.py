"""The engine under full traffic: how many times faster than the time it lives through."""

import time
from collections.abc import Callable
from pathlib import Path

from hil.vectors import driving
from hil.vectors.names import names_of
from tools.speed.rows import Floor, Measured, Row, median
from xlate_core.bridge import Bridge
from xlate_core.frames import Frame
from xlate_core.pairing import Pairing, load

PAIRING = Path(__file__).resolve().parents[2] / "fixtures" / "pairings" / "farm_pickup"
SEED = 1
FLOOR = Floor(150, False, ">= 150 x")


def measure(measured: Measured, seconds: int, repeats: int, said: Callable[[str], None]) -> None:
    """Add the row of the engine: `seconds` of driving, made ready before, `repeats` times."""
    pairing = load(PAIRING)
    ticks = seconds * 1000 // pairing.spec.tick_ms
    said(f"engine: {seconds} s of driving, {repeats} times")
    arriving = list(driving.frames(pairing, SEED, ticks))
    per_second = round(sum(map(len, arriving)) / seconds)
    samples = [seconds / run_once(pairing, arriving) for _ in range(repeats)]
    measured.rows.append(
        Row(
            key="engine_real_time",
            what=f"real time, {per_second} frames/s in",
            value=median(samples),
            unit="x",
            samples=repeats,
            floor=FLOOR,
        )
    )
    measured.compared.append(
        f"real time: {pairing.name}, Bridge.receive and Bridge.tick alone, {seconds} s of driving, "
        f"every tick of {pairing.spec.tick_ms} ms run, frames made ready before; time lived "
        "through by processor time."
    )


def run_once(pairing: Pairing, arriving: list[tuple[Frame, ...]]) -> float:
    """Return the processor time in seconds of a bridge that lives through the frames."""
    bridge = Bridge(pairing.spec)
    receive, tick = bridge.receive, bridge.tick
    inputs = driving.driving_inputs(names_of(pairing))
    began = time.process_time()
    for frames in arriving:
        for frame in frames:
            receive(frame)
        tick(inputs)
    return time.process_time() - began
