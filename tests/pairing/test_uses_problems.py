"""Problems of how signals, pins and units of measure meet quantities."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import BRIDGE, Case, added, body, bridge, told_in_its_place

USES = [
    Case(
        "loss of nothing",
        [*added('[transmit.body.WISH]\nperiod_ms = 20\non_loss = "stop"')],
        'on_loss = "stop"',
        "transmit.body.WISH.on_loss",
        "without a received quantity",
        "loss_of",
    ),
    Case(
        "received unit",
        bridge('unit = "rpm"', 'unit = "km/h"'),
        '"engine.MOTOR.Speed"',
        "quantity.speed.from[0]",
        'unit "rpm" of signal Speed',
        '"km/h"',
    ),
    Case(
        "sent unit",
        body('(0.5,0) [0|100] "%" CAR\n SG_ Word', '(0.5,0) [0|100] "deg" CAR\n SG_ Word'),
        "Needle = ",
        "transmit.body.CLUSTER.signals.Needle",
        'unit "deg" of signal Needle',
        '"%"',
    ),
    Case(
        "curve unit",
        bridge('x_unit = "degC"', 'x_unit = "degF"'),
        'curve = "needle_curve"',
        "function[1].curve",
        'unit "degF" of x of curve',
        '"degC" of quantity coolant',
    ),
    Case(
        "counts unit",
        bridge('x_unit = "counts"', 'x_unit = "V"'),
        'x_unit = "V"',
        "curve.sender_curve.x_unit",
        '"V"',
        '"counts"',
    ),
    Case(
        "pin twice",
        bridge('from = "engine.SERVICE.Tail"', 'from = "input.key" # again'),
        "# again",
        "quantity.tail.from[0]",
        "which feeds key already",
        "one quantity for each input pin",
    ),
    Case(
        "level pin",
        bridge('from = "input.key"', 'from = "input.key"\nresolution = 0.1'),
        'from = "input.key"',
        "quantity.key.from[0]",
        "cannot be exactly 0 and 1",
        "resolution 1",
    ),
    Case(
        "floating point",
        bridge('"engine.SERVICE.Oil"', '"engine.SERVICE.Ratio"'),
        "Ratio",
        "quantity.oil.from[0]",
        "Ratio, a floating-point signal",
        "only routed",
    ),
    Case(
        "raw range",
        bridge("not_available = [[255, 255]]", "not_available = [[255, 256]]"),
        "256",
        "quantity.coolant.from[0].not_available[0]",
        "[255, 256]",
        "0..255",
    ),
    Case(
        "constant",
        bridge("constant = 2 }", "constant = 16 }"),
        "constant = 16",
        "transmit.body.CLUSTER.signals.Version.constant",
        "16",
        "0..15",
    ),
    Case(
        "quantity and constant",
        bridge("{ constant = 2 }", '{ constant = 2, quantity = "word" }'),
        "constant = 2",
        "transmit.body.CLUSTER.signals.Version",
        "both",
        "either quantity or constant",
    ),
    Case(
        "code in range",
        bridge("not_available = 255 }", "not_available = 200 }"),
        "not_available = 200",
        "transmit.body.CLUSTER.signals.Needle.not_available",
        "200",
        "outside the valid raw range 0..200",
    ),
    Case(
        "no code",
        bridge("min_gap_ms = 10", 'min_gap_ms = 10\non_loss = "not_available"'),
        'Speed = "speed"',
        "transmit.body.CLUSTER.signals.Speed.not_available",
        "no such key",
        "a raw code",
    ),
    Case(
        "loss of a produced one",
        bridge('loss_of = ["speed"]', 'loss_of = ["needle"]'),
        "loss_of",
        "transmit.body.CLUSTER.loss_of[0]",
        "never received",
        "a received quantity",
    ),
    Case(
        "path not selected",
        bridge("Page = { constant = 1 }", "Page = { constant = 2 }"),
        'Fuel = "fuel"',
        "transmit.body.PAGES.signals.Fuel",
        "without its multiplexer value",
        "n in 1",
    ),
    Case(
        "unknown path",
        bridge('path."3..7"', 'path."3..8"'),
        'path."3..8"',
        "receive.engine.SERVICE.path.3..8",
        '"3..8"',
        '"3..7", "9"',
    ),
    Case(
        "unit of a path",
        bridge('signals = ["Tail"]', 'signals = ["Oil"]'),
        'signals = ["Oil"]',
        "receive.engine.SERVICE.unit.tail.signals[0]",
        "multiplexed",
        "outside the multiplexer",
    ),
    Case(
        "64 bit",
        bridge(
            '"engine.MOTOR.Speed"',
            '{ signal = "engine.MOTOR.Speed", '
            'factor = "1/1000000000000000003", offset = "1/998244353" }',
        ),
        "998244353",
        "quantity.speed.from[0]",
        "raw *",
        "inside 64 bit",
    ),
    Case(
        "wide signal",
        [
            (
                BRIDGE,
                '"engine.MOTOR.Speed"',
                '{ signal = "engine.WIDE.Distance", factor = "10000000" }',
            ),
            (
                BRIDGE,
                "[receive.engine.SERVICE]\n",
                "[receive.engine.WIDE]\n[receive.engine.SERVICE]\n",
            ),
        ],
        "WIDE.Distance",
        "quantity.speed.from[0]",
        "40 bit scaled without proof",
        "or a route",
    ),
]


@pytest.mark.parametrize("case", USES, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
