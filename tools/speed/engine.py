"""The engine under full traffic: how many times faster than the time it lives through."""

import time
from collections.abc import Callable
from pathlib import Path

from hil.vectors import driving
from hil.vectors.names import names_of
from tools.speed.rows import Floor, Measured, Row, median
from xlate_core.compiled import CompiledBridge, engine_of
from xlate_core.compiled.columns import Arrivals, Sent, sent_keys
from xlate_core.errors import InputError
from xlate_core.frames import Frame
from xlate_core.pairing import Pairing, load

PAIRING = Path(__file__).resolve().parents[2] / "fixtures" / "pairings" / "farm_pickup"
SEED = 1
FLOOR = Floor(150, False, ">= 150 x")
FAST_FLOOR = Floor(800, False, ">= 800 x")
TRANSLATED = "the same text in machine code is the row further down"
FAST_TO_PLAIN = Floor(3, False, ">= 3 x")


def measure(measured: Measured, seconds: int, repeats: int, said: Callable[[str], None]) -> None:
    """Add the row of the engine: `seconds` of driving, made ready before, `repeats` times."""
    pairing = load(PAIRING)
    ticks = seconds * 1000 // pairing.spec.tick_ms
    said(f"engine: {seconds} s of driving, {repeats} times")
    arriving = list(driving.frames(pairing, SEED, ticks))
    per_second = round(sum(map(len, arriving)) / seconds)
    samples: dict[bool, list[float]] = {True: [], False: []}
    for _ in range(repeats):  # in turn, so that both see the same machine
        for plain, found in samples.items():
            found.append(seconds / run_once(pairing, arriving, plain))
    plain_value, fast_value = median(samples[True]), median(samples[False])
    what = f"real time, {per_second} frames/s in"
    measured.rows += [
        Row("engine_real_time", what, plain_value, "x", repeats, floor=FLOOR),
        Row(
            "fast_real_time",
            "real time: fast form",
            fast_value,
            "x",
            repeats,
            floor=FAST_FLOOR,
            note=f"interpreted; {TRANSLATED}",
        ),
        Row(
            "fast_to_plain",
            "real time: fast by plain",
            fast_value / plain_value,
            "x",
            repeats,
            floor=FAST_TO_PLAIN,
        ),
    ]
    measured.compared.append(
        f"real time: {pairing.name}, receive and tick alone, the readable engine and its fast form "
        f"in turn, {seconds} s of driving, "
        f"every tick of {pairing.spec.tick_ms} ms run, frames made ready before; time lived "
        "through by processor time."
    )


def run_in_columns(pairing: Pairing, arrivals: Arrivals) -> float:
    """Return the processor time in seconds of the fast form that runs through columns."""
    bridge = engine_of(pairing.spec)
    if not isinstance(bridge, CompiledBridge):
        raise InputError(f"{pairing.name}: has no fast form here")
    sent = Sent(sent_keys(pairing.spec))
    inputs = driving.driving_inputs(names_of(pairing))
    began = time.process_time()
    bridge.run(arrivals, inputs, sent)
    return time.process_time() - began


def run_once(pairing: Pairing, arriving: list[tuple[Frame, ...]], plain: bool) -> float:
    """Return the processor time in seconds of a bridge that lives through the frames."""
    bridge = engine_of(pairing.spec, plain=plain)
    receive_all = bridge.receive_all
    inputs = driving.driving_inputs(names_of(pairing))
    began = time.process_time()
    for frames in arriving:
        receive_all(frames)
        bridge.tick(inputs)
    return time.process_time() - began
