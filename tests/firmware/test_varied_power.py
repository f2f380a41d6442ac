"""The C core against the reference with kept memory, fault memory, bus states and sleep drawn anew.

On every pairing of the project: settings no pairing asks for together, resets in the middle with
the memory kept, and a restored snapshot now and then.
"""

import dataclasses
import random
from itertools import islice

import pytest

from hil.boards.native_library import NativeLibraryBoard
from tests.core.test_bridge import NAMES, PAIRINGS, random_bus, step
from tests.firmware.cores import Cores
from tests.firmware.test_core_equals_reference import differences
from tests.firmware.test_varied_pairings import slow_stimulus, vary
from tools.environment import C_COMPILER
from xlate_core.bridge import Bridge, BridgeSpec, ResetCause
from xlate_core.buses import BusCommand, BusInput, BusSpec
from xlate_core.fault_memory import EntrySpec
from xlate_core.faults import FaultSpec
from xlate_core.pairing import load
from xlate_core.power import ASLEEP, SleepSpec

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
    ),
]
TICKS = 2000
replace = dataclasses.replace


def draw_bus(source: random.Random) -> BusSpec:
    """A bus with some of its supervision, or one nobody looks at."""
    if source.random() < 0.2:
        return BusSpec()
    quick = source.randrange(1, 30)
    return BusSpec(
        supervised=True,
        quick=quick,
        quick_attempts=source.choice((0, 1, 3)),
        slow=quick + source.randrange(60),
        no_acknowledge=source.choice((0, 1, 8)),
        wrong_rate=source.choice((0, 1, 5)),
        listen_first=source.choice((0, 1, 30)),
        flood=source.choice((0, 1, 3)),
    )


def draw_fault(spec: FaultSpec, quantities: int, source: random.Random) -> FaultSpec:
    """Remember it or not; one in three watches a bus instead."""
    if source.random() < 0.33:
        events = source.randrange(1, 64)
        spec = replace(
            spec, quantity=-1, message=-1, bus=source.randrange(2), bus_events=events, statuses=()
        )
    if source.random() < 0.3:
        return replace(spec, memory=None)
    snapshot = tuple(source.sample(range(quantities), min(source.randrange(4), quantities)))
    return replace(spec, memory=EntrySpec(source.randrange(1 << 24), source.randrange(3), snapshot))


def draw(spec: BridgeSpec, source: random.Random) -> BridgeSpec:
    """Return a varied spec with everything about power, buses and memory drawn anew."""
    spec = vary(spec, source)
    count = len(spec.quantities)
    sleep = SleepSpec(
        after=source.randrange(1, 40),
        quiet_after=source.randrange(20),
        wake_buses=source.randrange(4),
        wake=tuple(source.sample(range(count), min(source.randrange(3), count))),
    )
    faults = tuple(draw_fault(one, count, source) for one in spec.faults)
    return replace(
        spec,
        keeps=True,
        buses=(draw_bus(source), draw_bus(source)),
        faults=faults,
        power=replace(
            spec.power,
            kept=source.random() < 0.7,
            sleep=None if source.random() < 0.2 else sleep,
        ),
    )


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(2))
def test_lockstep(name: str, seed: int, cores: Cores) -> None:
    source = random.Random(f"power {name} {seed}")
    pairing = load(PAIRINGS / name)
    pairing = replace(pairing, spec=draw(pairing.spec, source))
    board = NativeLibraryBoard(pairing, cores.library(pairing))
    bridge = Bridge(pairing.spec)
    seen = set()
    lines = (BusInput(), BusInput())
    for tick, (frames, inputs) in enumerate(islice(slow_stimulus(bridge, seed), TICKS)):
        if source.random() < 0.003:
            kept = bridge.kept()
            assert board.kept() == kept, f"tick {tick}"
            cause = source.choice(tuple(ResetCause))
            given = source.choice((kept, kept, None))
            bridge.reset(cause, given)
            board.restart(cause, given)
        if source.random() < 0.003:
            bridge.restore(bridge.image())
        if source.random() < 0.02:
            lines = (random_bus(bridge, source), random_bus(bridge, source))
        inputs = inputs._replace(buses=lines)
        expected = step(bridge, frames, inputs)
        actual = board.step(inputs, tuple(frames))
        same = board.digest() == bridge.digest()
        assert same, f"tick {tick}: {differences(bridge, board)}"
        assert actual == expected, f"tick {tick}"
        seen |= {*expected.commands, 100 * (bridge.control.power.mode == ASLEEP)}
    if any(bus.supervised for bus in bridge.spec.buses):
        assert len(seen & {int(one) for one in BusCommand}) > 1, "the buses were never in trouble"
