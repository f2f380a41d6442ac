"""The C core against the reference on pairings varied at random, with slow and fast switches.

The project's own pairings use few of the settings a pairing may have; here every time, operator,
loss behaviour and limit is drawn anew. Such a pairing makes no sense on a car. It only has to mean
the same to both sides.
"""

import dataclasses
import random
from collections.abc import Iterator

import pytest

from hil.boards.native_library import NativeLibraryBoard
from tests.core.test_bridge import NAMES, PAIRINGS, random_inputs, random_stimulus, step
from tests.firmware.cores import Cores
from tests.firmware.test_core_equals_reference import differences
from tests.firmware.vary_controls import vary_control
from tests.firmware.vary_drive import vary_drive
from tests.firmware.vary_instruments import vary_instrument
from tools.environment import C_COMPILER
from xlate_core.bridge import Bridge, BridgeSpec, Inputs
from xlate_core.conditions import ConditionSpec, Operator
from xlate_core.faults import FaultSpec
from xlate_core.frames import Frame
from xlate_core.functions import FunctionSpec
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.pairing import load
from xlate_core.quantities import QuantitySpec, SourceSpec
from xlate_core.reception import MessageSpec, UnitSpec
from xlate_core.transmission import OnLoss, TransmitSpec

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
    ),
]
TICKS = 4000
replace = dataclasses.replace


def vary_message(spec: MessageSpec, source: random.Random) -> MessageSpec:
    """Only an unprotected message may come short (rule 6)."""
    return spec if spec.guarded else replace(spec, allow_short=source.random() < 0.5)


def vary_unit(spec: UnitSpec, source: random.Random) -> UnitSpec:
    first, cyclic = source.choice((0, 1, 40, 300)), source.choice((0, 1, 25, 200))
    return replace(spec, first_deadline=first, deadline=cyclic)


def vary_source(spec: SourceSpec, source: random.Random) -> SourceSpec:
    if spec.signal is None:
        return spec
    # A number beyond 32 bit makes all numbers of the tables wide, which no fixture needs.
    frozen, change = source.choice((0, 0, 2, 5)), source.choice((0, 0, 3, 500, 1 << 40))
    return replace(spec, frozen_after=frozen, max_change=change)


def vary_quantity(spec: QuantitySpec, source: random.Random) -> QuantitySpec:
    return replace(
        spec,
        hold=source.choice((0, 1, 20, 150)),
        return_rate=source.choice((0, 0, 7, 1500)),
        substitute=source.choice((None, spec.low, spec.high)),
    )


def vary_condition(spec: ConditionSpec, source: random.Random) -> ConditionSpec:
    return replace(
        spec,
        after=source.choice((0, 100, 700)),
        supply_mv=source.choice((None, (9000, 13000))),
        comparisons=tuple(
            replace(one, operator=source.choice(tuple(Operator))) for one in spec.comparisons
        ),
    )


def vary_fault(spec: FaultSpec, source: random.Random) -> FaultSpec:
    limit, up, down = (source.randrange(1, high) for high in (40, 9, 4))
    return replace(spec, latch=source.random() < 0.5, limit=limit, up=up, down=down)


def vary_transmit(spec: TransmitSpec, source: random.Random) -> TransmitSpec:
    on_loss = source.choice(tuple(OnLoss))
    losses = spec.loss_of or tuple(sorted({one.quantity for one in spec.packs}))
    period = source.choice((0, 1, 10, 33))
    return replace(
        spec,
        period=period,
        offset=source.randrange(period + 1),
        on_change=period == 0 or source.random() < 0.5,
        min_gap=source.choice((0, 1, 5, 50)),
        on_loss=on_loss,
        loss_of=losses,
    )


def vary_function(spec: FunctionSpec, source: random.Random) -> FunctionSpec:
    if isinstance(spec, GaugeSpec):
        return replace(spec, hysteresis=source.choice((0, 3, 100)))
    return vary_control(vary_instrument(vary_drive(spec, source), source), source)


def vary(spec: BridgeSpec, source: random.Random) -> BridgeSpec:
    """Return the spec with its settings drawn anew; what quantities are sent in follows."""
    transmits = tuple(vary_transmit(one, source) for one in spec.transmits)
    quantities = tuple(vary_quantity(one, source) for one in spec.quantities)
    return replace(
        spec,
        control_ticks=source.choice((1, 5, 10)),
        messages=tuple(vary_message(one, source) for one in spec.messages),
        units=tuple(vary_unit(one, source) for one in spec.units),
        sources=tuple(vary_source(one, source) for one in spec.sources),
        quantities=tuple(
            replace(
                one,
                senders=tuple(
                    number
                    for number, message in enumerate(transmits)
                    if index in message.loss_of
                    or any(entry.quantity == index for entry in message.packs)
                ),
            )
            for index, one in enumerate(quantities)
        ),
        conditions=tuple(vary_condition(one, source) for one in spec.conditions),
        faults=tuple(vary_fault(one, source) for one in spec.faults),
        power=replace(
            spec.power, cycle_off=source.randrange(1, 30), after_run=source.randrange(40)
        ),
        functions=tuple(vary_function(one, source) for one in spec.functions),
        transmits=transmits,
    )


def slow_stimulus(bridge: Bridge, seed: int) -> Iterator[tuple[list[Frame], Inputs]]:
    """Yield traffic with silences; switches hold for a while, so that ignition cycles happen."""
    source = random.Random(seed)
    inputs = random_inputs(bridge, source)
    for tick, (frames, _) in enumerate(random_stimulus(bridge, seed, TICKS)):
        if source.random() < 0.006:
            inputs = random_inputs(bridge, source)
        yield (frames if tick // 350 % 2 == 0 or source.random() < 0.02 else []), inputs


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(3))
def test_lockstep(name: str, seed: int, cores: Cores) -> None:
    pairing = load(PAIRINGS / name)
    pairing = replace(pairing, spec=vary(pairing.spec, random.Random(f"{name} {seed}")))
    board = NativeLibraryBoard(pairing, cores.library(pairing))
    bridge = Bridge(pairing.spec)
    sent = 0
    for tick, (frames, inputs) in enumerate(slow_stimulus(bridge, seed)):
        expected = step(bridge, frames, inputs)
        actual = board.step(inputs, tuple(frames))
        same = board.digest() == bridge.digest()
        assert same, f"tick {tick}: {differences(bridge, board)}"
        assert actual == expected, f"tick {tick}"
        sent += sum(map(len, expected.frames))
    assert sent > 0
