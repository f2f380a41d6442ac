"""Problems of ranges, thresholds, curves and tables."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import BRIDGE, Case, bridge, told_in_its_place

VALUES = [
    Case(
        "rate",
        bridge("return_per_s = 2000", "return_per_s = 1e9"),
        "return_per_s",
        "quantity.speed.return_per_s",
        "4000000000 steps",
        "32 bit, signed",
    ),
    Case(
        "compared value",
        bridge("value = 9000", "value = 1e9"),
        "value = 1e9",
        "condition.ignition_on.quantities[0].value",
        "4000000000 steps",
        "32 bit, signed",
    ),
    Case(
        "measured value",
        bridge("[4000, 0]]", "[4000, -20]]"),
        'curve = "sender_curve"',
        "input.sender.curve",
        "-20..100",
        "within the range 0..100 of fuel",
    ),
    Case(
        "counts without a curve",
        bridge('curve = "sender_curve"\n', ""),
        "[input.sender]",
        "input.sender.curve",
        "valid counts that mean 100..4000",
        "within the range 0..100 of fuel",
    ),
    Case(
        "range",
        bridge("range = [0, 10000]", "range = [10000, 0]"),
        "[10000, 0]",
        "quantity.speed.range",
        "[10000, 0]",
        "the lowest first",
    ),
    Case(
        "32 bit",
        bridge("range = [0, 10000]", "range = [0, 600000000]"),
        "600000000",
        "quantity.speed.range",
        "2400000000 steps",
        "32 bit, signed",
    ),
    Case(
        "substitute",
        bridge("substitute = 0", "substitute = -1"),
        "substitute = -1",
        "quantity.speed.substitute",
        "-1",
        "within [0, 10000]",
    ),
    Case(
        "hold of a produced one",
        bridge("[quantity.fan]\n", "[quantity.fan]\nhold_ms = 20\n"),
        "hold_ms = 20",
        "quantity.fan.hold_ms",
        "without from",
        "only where data can be lost",
    ),
    Case(
        "curve falls back",
        bridge("[80, 48], [100, 50]", "[100, 48], [80, 50]"),
        "[80, 50]",
        "curve.needle_curve.points[2]",
        "x = 80 after 100",
        "rises from point to point",
    ),
    Case(
        "curve too fine",
        bridge("[80, 48], [100, 50]", "[80, 48], [80.1, 50]"),
        'curve = "needle_curve"',
        "function[1].curve",
        "fall together at 80",
        "apart",
    ),
    Case(
        "counts",
        bridge("valid = [100, 4000]", "valid = [100, 70000]"),
        "70000",
        "input.sender.valid",
        "[100, 70000]",
        "0..65535",
    ),
    Case(
        "fan hysteresis",
        bridge("off = 94", "off = 98"),
        "off = 98",
        "function[0].stages[0].off",
        "98",
        "less than on = 98",
    ),
    Case(
        "fan request",
        bridge("stage = 1", "stage = 2"),
        "stage = 2",
        "function[0].requests[0].stage",
        "2",
        "at most 1 stage",
    ),
    Case(
        "running",
        bridge("running_below = 200", "running_below = 500"),
        "running_below",
        "power.running_below",
        "500",
        "at most 400",
    ),
    Case(
        "running missing",
        bridge("running_below = 200\n", ""),
        "[power]",
        "power.running_below",
        "no such key",
        "running_below",
    ),
    Case(
        "fault source",
        bridge('quantity = "coolant"\nstatuses = ["stale", "error"]\n', ""),
        "[fault.coolant_data]",
        "fault.coolant_data",
        "neither",
        "either quantity or message",
    ),
    Case(
        "mapping twice",
        bridge("[2, 5]]", "[1, 5]]"),
        "[1, 5]]",
        "function[2].table[2]",
        "1 again",
        "each input value once",
    ),
    Case(
        "mapping otherwise",
        [
            (BRIDGE, "otherwise = 0\n", ""),
            (BRIDGE, '[[function]]\nname = "words"', '[[function]] # third\nname = "words"'),
        ],
        "# third",
        "function[2].otherwise",
        "no such key",
        "not in the table",
    ),
    Case(
        "position on loss",
        bridge("hysteresis = 1\non_loss = 0", "hysteresis = 1\non_loss = 101"),
        "on_loss = 101",
        "function[1].on_loss",
        "101",
        "within [0, 100]",
    ),
    Case(
        "output reset",
        bridge('quantity = "fan"', 'quantity = "fan"\nreset = 2'),
        "reset = 2",
        "output.fan_relay.reset",
        "2",
        "within [0, 1]",
    ),
]


@pytest.mark.parametrize("case", VALUES, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
