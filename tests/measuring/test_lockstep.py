"""The engine as the board has it, tables compiled into its code, against the reference."""

from pathlib import Path

import pytest

from hil.boards.emulator import Emulator
from hil.boards.interface import Stimulus
from hil.firmware.programs import build
from hil.measuring.meter import Meter, Plan
from tests.core.test_bridge import PAIRINGS, bridge_of, random_stimulus, step
from tools.environment import ARM_COMPILER, EMULATOR
from xlate_core.bridge import ResetCause
from xlate_core.pairing import load

MISSING = [need for need in (EMULATOR, ARM_COMPILER) if not need.present()]
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        bool(MISSING), reason="; ".join(f"needs {need.what}. {need.how}" for need in MISSING)
    ),
]
TICKS = 900
SILENT_FROM = 300  # ticks, longer than most deadlines and holds; then traffic again from 600 on


@pytest.mark.parametrize("name", ["farm_pickup", "dairy_van", "test_stand"])
def test_random_traffic_and_silence_leave_the_same_digest_every_tick(
    name: str, tmp_path: Path
) -> None:
    pairing, bridge = load(PAIRINGS / name), bridge_of(name)
    bridge.reset(ResetCause.COMMANDED)
    plan, expected = Plan(), []
    plan.reset()
    for tick, (frames, inputs) in enumerate(random_stimulus(bridge, 900, TICKS)):
        heard = [] if SILENT_FROM <= tick < 2 * SILENT_FROM else frames
        for frame in heard:
            plan.frame(Stimulus(frame, len(frame.data)))
        plan.tick(inputs)
        plan.add(b"D")
        step(bridge, heard, inputs)
        expected.append(bridge.digest())
    built = build(pairing, "stm32f405", tmp_path, "measure")
    with Emulator(built.path, counting=True) as machine:
        answers = Meter(machine.line, pairing).run(plan)
    found = [one for one, record in zip(answers, plan.records, strict=True) if record == b"D"]
    assert found == expected
