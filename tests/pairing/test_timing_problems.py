"""Problems of durations: both neighbours are named."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import Case, body, bridge, told_in_its_place

TIMING = [
    Case(
        "control tick",
        bridge("control_ms = 10", "control_ms = 11"),
        "control_ms = 11",
        "clock.control_ms",
        "11",
        "a multiple of 2 ms: 10 or 12",
    ),
    Case(
        "deadline",
        bridge("deadline_ms = 50\n", "deadline_ms = 51\n"),
        "deadline_ms = 51",
        "receive.engine.MOTOR.deadline_ms",
        "51",
        "a multiple of 2 ms: 50 or 52",
    ),
    Case(
        "unit deadline",
        bridge("deadline_ms = 100\n", "deadline_ms = 101\n"),
        "deadline_ms = 101",
        "receive.engine.SERVICE.unit.tail.deadline_ms",
        "101",
        "100 or 102",
    ),
    Case(
        "path deadline",
        bridge("deadline_ms = 400", "deadline_ms = 401"),
        "deadline_ms = 401",
        "receive.engine.SERVICE.path.3..7.deadline_ms",
        "401",
        "400 or 402",
    ),
    Case(
        "debounce",
        bridge("debounce_ms = 20", "debounce_ms = 1"),
        "debounce_ms = 1",
        "input.key.debounce_ms",
        "1",
        "0 or 2",
    ),
    Case(
        "hold",
        bridge("hold_ms = 100", "hold_ms = 99"),
        "hold_ms = 99",
        "quantity.speed.hold_ms",
        "99",
        "98 or 100",
    ),
    Case(
        "gap",
        bridge("min_gap_ms = 10", "min_gap_ms = 9"),
        "min_gap_ms = 9",
        "transmit.body.CLUSTER.min_gap_ms",
        "9",
        "8 or 10",
    ),
    Case(
        "period",
        bridge("period_ms = 100", "period_ms = 101"),
        "period_ms = 101",
        "transmit.body.PAGES.period_ms",
        "101",
        "100 or 102",
    ),
    Case(
        "cycle time",
        body("BO_ 512 20;", "BO_ 512 21;"),
        "[transmit.body.CLUSTER]",
        "transmit.body.CLUSTER.period_ms",
        "the DBC's cycle time 21",
        "20 or 22",
    ),
    Case(
        "after run",
        bridge("after_run_ms = 5000", "after_run_ms = 5002"),
        "after_run_ms",
        "power.after_run_ms",
        "5002",
        "a multiple of 10 ms: 5000 or 5010",
    ),
    Case(
        "function time",
        bridge("min_on_ms = 3000", "min_on_ms = 2998"),
        "min_on_ms",
        "function[0].min_on_ms",
        "2998",
        "2990 or 3000",
    ),
    Case(
        "offset",
        bridge("offset_ms = 4", "offset_ms = 20"),
        "offset_ms = 20",
        "transmit.body.CLUSTER.offset_ms",
        "20",
        "less than the period 20",
    ),
    Case(
        "no period",
        bridge("period_ms = 100\n", ""),
        "[transmit.body.PAGES]",
        "transmit.body.PAGES.period_ms",
        "no such key",
        "a cycle time of PAGES",
    ),
    Case(
        "never sent",
        bridge("period_ms = 100\n", "period_ms = 0\n"),
        "period_ms = 0",
        "transmit.body.PAGES.period_ms",
        "0",
        "on_change = true",
    ),
]


@pytest.mark.parametrize("case", TIMING, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
