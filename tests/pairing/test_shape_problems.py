"""Problems of shape: keys, kinds, words, numbers, and the syntax itself."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import Case, added, bridge, told_in_its_place

SHAPE = [
    Case(
        "unknown key",
        bridge("hold_ms = 100", "hold_mss = 100"),
        "hold_mss",
        "quantity.speed.hold_mss",
        'key "hold_mss"',
        "one of unit, resolution",
        "hold_ms",
    ),
    Case(
        "unknown key in a list",
        bridge("on = 98, off = 94", "on = 98, off = 94, of = 1"),
        "of = 1",
        "function[0].stages[0].of",
        'key "of"',
        "one of output, on, off",
        "off",
    ),
    Case(
        "unknown table",
        added("[quantities.a]\nrange = [0, 1]"),
        "[quantities.a]",
        "quantities",
        'key "quantities"',
        "one of format",
        "quantity",
    ),
    Case(
        "missing key",
        bridge('output = "coolant_fault"\n', ""),
        "[fault.coolant_data]",
        "fault.coolant_data.output",
        "no such key",
        "output: quantity that is 1 while matured",
    ),
    Case(
        "wrong kind",
        bridge('kind = "analogue"', 'kind = "analog"'),
        'kind = "analog"',
        "input.sender.kind",
        '"analog"',
        "level, analogue",
        "analogue",
    ),
    Case(
        "missing kind",
        bridge(
            '[[function]]\nname = "words"\nkind = "mapping"', '[[function]] # third\nname = "words"'
        ),
        "# third",
        "function[2].kind",
        'no key "kind"',
        "cooling_fan",
    ),
    Case(
        "wrong word",
        bridge('statuses = ["stale", "error"]', 'statuses = ["stale", "eror"]'),
        "eror",
        "fault.coolant_data.statuses[1]",
        '"eror"',
        '"error"',
        "error",
    ),
    Case(
        "text for a number",
        bridge("limit = 50", 'limit = "50"'),
        'limit = "50"',
        "fault.coolant_data.limit",
        '"50"',
        "an integer",
    ),
    Case(
        "number for a text",
        bridge('database = "engine.dbc"', "database = 7"),
        "database = 7",
        "bus.engine.database",
        "7",
        "a text",
    ),
    Case(
        "negative duration",
        bridge("deadline_ms = 50\n", "deadline_ms = -50\n"),
        "deadline_ms = -50",
        "receive.engine.MOTOR.deadline_ms",
        "-50",
        "at least 0",
    ),
    Case(
        "bad ratio",
        bridge('resolution = "1/4"', 'resolution = "1/0"'),
        '"1/0"',
        "quantity.speed.resolution",
        '"1/0"',
        'exact ratio such as "1/18"',
    ),
    Case(
        "zero resolution",
        bridge('resolution = "1/4"', "resolution = 0"),
        "resolution = 0",
        "quantity.speed.resolution",
        "0",
        "greater than 0",
    ),
    Case(
        "bad queue",
        bridge("{ fifo = 8 }", "{ fifo = 0 }"),
        "fifo = 0",
        "route.diagnosis.queue",
        '{"fifo": 0}',
        "{ fifo = n }",
    ),
    Case(
        "unknown bus",
        added("[receive.motor.X]\ndeadline_ms = 2"),
        "[receive.motor.X]",
        "receive.motor",
        '"motor"',
        '"body" or "engine"',
    ),
    Case(
        "format of the future", bridge("format = 1", "format = 2"), "format = 2", "format", "2", "1"
    ),
    Case(
        "syntax",
        bridge("tick_ms = 2", "tick_ms = = 2"),
        "tick_ms = = 2",
        "",
        "tick_ms = = 2",
        "valid TOML",
    ),
    Case(
        "key twice",
        bridge("tick_ms = 2", "tick_ms = 2\ntick_ms = 4"),
        "tick_ms = 4",
        "",
        "Cannot overwrite",
        "valid TOML",
    ),
]


@pytest.mark.parametrize("case", SHAPE, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
