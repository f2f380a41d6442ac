"""What cannot be meant in the fault memory, told in its place."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import Case, bridge, told_in_its_place

LATCH = 'statuses = ["stale", "error"]\n'
ENTRY = 'memory = { code = "P0118", failure_type = 0x17, snapshot = ["coolant"] }\n'

MEMORY = [
    Case(
        "snapshot of nothing",
        bridge(LATCH, LATCH + ENTRY.replace('"coolant"', '"coolent"')),
        "coolent",
        "fault.coolant_data.memory.snapshot[0]",
        '"coolent"',
        "a quantity",
        "coolant",
    ),
    Case(
        "snapshot twice",
        bridge(LATCH, LATCH + ENTRY.replace('"coolant"', '"coolant", "coolant"')),
        '"coolant", "coolant"',
        "fault.coolant_data.memory.snapshot[1]",
        '"coolant" again',
        "each quantity once",
    ),
    Case(
        "no trouble code",
        bridge(LATCH, LATCH + ENTRY.replace("P0118", "X0118")),
        "X0118",
        "fault.coolant_data.memory.code",
        "X0118",
        "",
    ),
    Case(
        "latch without kept cycle",
        bridge(LATCH, LATCH + "latch = true\n" + ENTRY),
        "memory = {",
        "fault.coolant_data.memory",
        "memory of a latched fault",
        "power.kept = true",
    ),
]


@pytest.mark.parametrize("case", MEMORY, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
