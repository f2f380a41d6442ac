"""What cannot be meant in bus supervision, bus faults and sleep, told in its place."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import Case, bridge, told_in_its_place

WATCHED = 'quantity = "coolant"\nstatuses = ["stale", "error"]\n'
SLEEP = '[power.sleep]\nafter_ms = 1000\nwake = ["coolent"]\n\n'

POWER = [
    Case(
        "slow before quick",
        bridge(
            "[bus.engine]\n",
            "[bus.body.supervision]\nquick_ms = 100\nslow_ms = 50\n\n[bus.engine]\n",
        ),
        "slow_ms = 50",
        "bus.body.supervision.slow_ms",
        "50",
        "at least quick_ms = 100",
    ),
    Case(
        "fault of an unsupervised bus",
        bridge(WATCHED, 'bus = "body"\nevents = ["bus_off"]\n'),
        'bus = "body"',
        "fault.coolant_data.bus",
        "a bus without supervision",
        "[bus.body.supervision]",
    ),
    Case(
        "events without bus",
        bridge(WATCHED, WATCHED + 'events = ["bus_off"]\n'),
        'events = ["bus_off"]',
        "fault.coolant_data.events",
        "events without a bus",
        "events with bus",
    ),
    Case(
        "woken by nothing known",
        bridge("[power]\n", SLEEP + "[power]\n"),
        "coolent",
        "power.sleep.wake[0]",
        '"coolent"',
        "a quantity",
        "coolant",
    ),
    Case(
        "half a control tick",
        bridge(
            "[power]\n", SLEEP.replace("1000", "1005").replace("coolent", "coolant") + "[power]\n"
        ),
        "after_ms = 1005",
        "power.sleep.after_ms",
        "1005",
        "a multiple of 10 ms: 1000 or 1010",
    ),
]


@pytest.mark.parametrize("case", POWER, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
