"""Problems of who sends what, and of counters and checksums."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import BODY, BRIDGE, Case, added, body, bridge, told_in_its_place

BUSES = [
    Case(
        "route to its own bus",
        bridge('to = "body"', 'to = "engine"'),
        'to = "engine"',
        "route.diagnosis.to",
        '"engine"',
        '"body"',
    ),
    Case(
        "loop",
        [
            (
                BRIDGE,
                "[curve.sender_curve]\n",
                '[route.back]\nfrom = "body.ANSWER"\nto = "engine"\n[curve.sender_curve]\n',
            ),
            (BODY, "BO_ 514 WISH", "BO_ 1800 ANSWER: 8 CAR\nBO_ 514 WISH"),
        ],
        'from = "body.ANSWER"',
        "route.back.from",
        "which route diagnosis brought",
        "in a loop",
    ),
    Case(
        "sent and received",
        added("[receive.body.CLUSTER]\ndeadline_ms = 0"),
        "[transmit.body.CLUSTER]",
        "transmit.body.CLUSTER",
        "0x200 both sent and received on bus body",
        "either sent or received",
    ),
    Case(
        "transmitted twice",
        body("BO_ 513 PAGES", "BO_ 1800 PAGES"),
        'from = "engine.ANSWER"',
        "route.diagnosis.from",
        "0x708, a second time on bus body",
        "one sender",
    ),
    Case(
        "other identifier",
        body("BO_ 514 WISH", "BO_ 1799 ANSWER: 8 CAR\nBO_ 514 WISH"),
        'from = "engine.ANSWER"',
        "route.diagnosis.from",
        "ANSWER as 0x708 here and 0x707 on bus body",
        "the same identifier on both buses",
    ),
    Case(
        "folded identifier",
        [
            (BODY, "BO_ 514 WISH", "BO_ 1799 MOTOR: 8 CAR\nBO_ 514 WISH"),
            (BRIDGE, '"engine.ANSWER"', '"engine.MOTOR"'),
            (
                BRIDGE,
                'parameters = "CRC-8/SAE-J1850" }',
                'parameters = "CRC-8/SAE-J1850", fold = [{ item = "identifier" }] }',
            ),
        ],
        'from = "engine.MOTOR"',
        "route.diagnosis.from",
        "MOTOR as 0x100",
        "which is folded into its checksum",
    ),
]
PROTECTION = [
    Case(
        "modulo",
        bridge("modulo = 16", "modulo = 17"),
        "modulo = 17",
        "transmit.body.CLUSTER.counter.modulo",
        "17",
        "at most 16, what Alive holds",
    ),
    Case(
        "counter too wide",
        bridge('"Count", modulo = 15 }', '"Speed", modulo = 15 }'),
        'signal = "Speed", modulo',
        "receive.engine.MOTOR.counter.signal",
        "Speed of 16 bit",
        "a counter of at most 15 bit",
    ),
    Case(
        "max step",
        bridge("modulo = 15 }", "modulo = 15, max_step = 15 }"),
        "max_step",
        "receive.engine.MOTOR.counter.max_step",
        "15",
        "less than the modulo 15",
    ),
    Case(
        "checksum place",
        bridge('"Xor", kind', '"Speed", kind'),
        '"Speed", kind',
        "transmit.body.CLUSTER.checksum.signal",
        "Speed of 16 bit",
        "exactly one whole octet",
    ),
    Case(
        "checksum not aligned",
        body("Xor : 56|8", "Xor : 52|8"),
        '"Xor"',
        "transmit.body.CLUSTER.checksum.signal",
        "start bit 52",
        "exactly one whole octet",
    ),
    Case(
        "checksum octets",
        bridge('kind = "xor8", fold', 'kind = "xor8", last_octet = 7, first_octet = 8, fold'),
        '"Xor"',
        "transmit.body.CLUSTER.checksum.first_octet",
        "8",
        "at most 7",
    ),
    Case(
        "last octet",
        added(
            "[transmit.body.WISH]\nperiod_ms = 20\n"
            'checksum = { signal = "Wish", kind = "sum8", last_octet = 2 }'
        ),
        "last_octet = 2",
        "transmit.body.WISH.checksum.last_octet",
        "2",
        "at most 1",
    ),
    Case(
        "data ID",
        bridge('{ item = "identifier" }', '{ item = "data_id", value = 0x1A5, octets = 1 }'),
        "0x1A5",
        "transmit.body.CLUSTER.checksum.fold[0].octets",
        "1",
        "enough octets for 0x1A5",
    ),
    Case(
        "short and protected",
        bridge("deadline_ms = 50\n", "deadline_ms = 50\nallow_short = true\n"),
        "allow_short",
        "receive.engine.MOTOR.allow_short",
        "true",
        "whole or nothing",
    ),
    Case(
        "CRC without parameters",
        bridge(', parameters = "CRC-8/SAE-J1850"', ""),
        '"Check"',
        "receive.engine.MOTOR.checksum.parameters",
        "no such key",
        "CRC-8/SAE-J1850",
    ),
    Case(
        "signal sent twice",
        bridge('Word = "word"', 'Word = "word"\nAlive = { constant = 3 }'),
        "constant = 3 }",
        "transmit.body.CLUSTER.signals.Alive",
        "Alive, which the counter",
        "every signal once",
    ),
]


@pytest.mark.parametrize("case", [*BUSES, *PROTECTION], ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
