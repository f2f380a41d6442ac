"""Problems of the network databases alone."""

from pathlib import Path

import pytest

from tests.pairing.spoiled import BODY, ENGINE, Case, body, engine, told_in_its_place

LAYOUTS = [
    Case(
        "beyond the end",
        engine("Check : 56|8", "Check : 60|8"),
        "SG_ Check",
        "MOTOR.Check",
        "beyond the end",
        "inside the 8 octets",
        file=ENGINE,
    ),
    Case(
        "beyond a short message",
        body("Wish : 0|8", "Wish : 12|8"),
        "SG_ Wish",
        "WISH.Wish",
        "beyond the end",
        "inside the 2 octets",
        file=BODY,
    ),
    Case(
        "Motorola beyond the end",
        body("Speed : 7|16@0+", "Speed : 56|16@0+"),
        "SG_ Speed",
        "CLUSTER.Speed",
        "beyond the end",
        "inside the 8 octets",
        file=BODY,
    ),
    Case(
        "overlap",
        engine("Torque : 24|12", "Torque : 22|12"),
        "SG_ Torque",
        "MOTOR.Torque",
        "bit 22 shared with Coolant",
        "do not overlap",
        file=ENGINE,
    ),
    Case(
        "overlap of one path",
        body("Oil m1 : 16|8", "Oil m1 : 12|8"),
        "SG_ Oil",
        "PAGES.Oil",
        "shared with Fuel",
        "different multiplexer values",
        file=BODY,
    ),
    Case(
        "overlap of both orders",
        body("Needle : 16|8@1+", "Needle : 8|8@1+"),
        "SG_ Needle",
        "CLUSTER.Needle",
        "shared with Speed",
        "do not overlap",
        file=BODY,
    ),
    Case(
        "identifier twice",
        body("BO_ 513 PAGES", "BO_ 512 PAGES"),
        "PAGES",
        "PAGES",
        "identifier 0x200 a second time",
        "CLUSTER in line 5",
        file=BODY,
    ),
    Case(
        "message name twice",
        engine("BO_ 1801 WIDE", "BO_ 1801 MOTOR"),
        "BO_ 1801 MOTOR",
        "MOTOR",
        "message name a second time",
        "a name of its own",
        file=ENGINE,
    ),
    Case(
        "too long",
        engine("BO_ 1800 ANSWER: 8", "BO_ 1800 ANSWER: 64"),
        "BO_ 1800",
        "ANSWER",
        "64 octets",
        "at most 8 octets",
        file=ENGINE,
    ),
    Case(
        "identifier too large",
        engine("BO_ 1800 ANSWER", "BO_ 3000 ANSWER"),
        "BO_ 3000",
        "ANSWER",
        "identifier 0xBB8",
        "at most 0x7FF",
        file=ENGINE,
    ),
    Case(
        "zero factor",
        engine("(0.5,0)", "(0,0)"),
        "SG_ Torque",
        "MOTOR.Torque",
        "factor 0",
        "another factor",
        file=ENGINE,
    ),
    Case(
        "initial value",
        body("SG_ 512 Kind 9;", "SG_ 512 Kind 16;"),
        "SG_ Kind",
        "CLUSTER.Kind",
        "initial value 16",
        "0..15",
        file=BODY,
    ),
    Case(
        "endless selector range",
        engine("Selector 3-7;", "Selector 3-4000000000;"),
        "SG_MUL_VAL_",
        "Oil",
        "selector range 3-4000000000",
        "65536 selector values",
        file=ENGINE,
    ),
    Case(
        "broken line",
        engine(" SG_ Tail : 48|8@1+ (1,0)", " SG_ Tail : 48|8@"),
        "SG_ Tail",
        "",
        "SG_ Tail : 48|8@",
        "a complete DBC file",
        file=ENGINE,
    ),
]


@pytest.mark.parametrize("case", LAYOUTS, ids=lambda case: case.name)
def test_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    told_in_its_place(case, tmp_path)
