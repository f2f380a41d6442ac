"""Problems of lamps, gauges, counters and the vehicle speed, and their place in the file."""

import shutil
from pathlib import Path
from typing import NamedTuple

import pytest

from xlate_core.pairing import PairingError, load

PAIRING = Path(__file__).parents[2] / "fixtures" / "pairings" / "instruments"
BRIDGE = "bridge.toml"
LAMPS = "function[7].lamps"


class Case(NamedTuple):
    """One text replaced once in bridge.toml, and the one problem it must give."""

    name: str
    old: str
    new: str
    key_path: str
    found: str
    expected: str
    nearest: str | None = None


CASES = (
    Case(
        "a lamp's cause without hysteresis",
        'on = "0.5", off = "0.8"',
        'on = "0.5", off = "0.5"',
        f"{LAMPS}[1].causes[0].off",
        "the same as on",
        "less than on for a cause that rises",
    ),
    Case(
        "hysteresis finer than a step",
        'on = "0.5", off = "0.8"',
        'on = "0.5", off = "0.51"',
        f"{LAMPS}[1].causes[0]",
        "fall together",
        "at least one step",
    ),
    Case(
        "dark on loss without a reason",
        ', reason = "a lit lamp would let the driver wait for nothing"',
        "",
        f"{LAMPS}[6].reason",
        "no such key",
        "why the lamp may stay dark",
    ),
    Case(
        "a reason for a lamp that is lit",
        'standing = "dark"',
        'standing = "dark", reason = "habit"',
        f"{LAMPS}[2].reason",
        "a reason with a lamp that is lit on loss",
        'only with on_loss = "dark"',
    ),
    Case(
        "a lamp's word",
        'standing = "dark"',
        'standing = "darc"',
        f"{LAMPS}[2].standing",
        '"darc"',
        '"dark"',
        "dark",
    ),
    Case(
        "a lamp's quantity",
        'quantity = "battery", on',
        'quantity = "batery", on',
        f"{LAMPS}[2].causes[0].quantity",
        '"batery"',
        "a quantity",
        "battery",
    ),
    Case(
        "a threshold out of range",
        "on = 115",
        "on = 215",
        f"{LAMPS}[3].causes[0].on",
        "215",
        "within [-40, 210]",
    ),
    Case(
        "a lamp's delay between control ticks",
        "off_delay_ms = 6",
        "off_delay_ms = 5",
        f"{LAMPS}[0].off_delay_ms",
        "5",
        "a multiple of 2 ms: 4 or 6",
    ),
    Case(
        "both pulse ratios",
        "pulses_per_km = 5000",
        "pulses_per_km = 5000\npulses_per_revolution = 2",
        "function[3]",
        "both",
        "either pulses_per_revolution or pulses_per_km",
    ),
    Case(
        "no pulse ratio",
        "pulses_per_km = 5000",
        "",
        "function[3]",
        "neither",
        "either pulses_per_revolution or pulses_per_km",
    ),
    Case(
        "pulses of another unit",
        "pulses_per_revolution = 2",
        "pulses_per_km = 2",
        "function[2].input",
        'unit "rpm"',
        '"km/h"',
    ),
    Case(
        "frequency in another unit",
        '[quantity.tacho_frequency]\nunit = "mHz"',
        '[quantity.tacho_frequency]\nunit = "Hz"',
        "function[2].output",
        'unit "Hz"',
        '"mHz", resolution 1',
    ),
    Case(
        "frequency limits upside down",
        "lowest_mhz = 10000",
        "lowest_mhz = 300000",
        "function[2].lowest_mhz",
        "300000",
        "at most 200000",
    ),
    Case(
        "a frequency the output cannot hold",
        "highest_mhz = 200000",
        "highest_mhz = 2000000",
        "function[2].highest_mhz",
        "2000000",
        "within [0, 1000000]",
    ),
    Case(
        "a dial that steps otherwise",
        '[quantity.engine_speed_shown]\nunit = "rpm"\nresolution = "0.25"',
        '[quantity.engine_speed_shown]\nunit = "rpm"\nresolution = "0.5"',
        "function[1].output",
        "resolution 0.5",
        "resolution 0.25 of engine_speed",
    ),
    Case(
        "a filter too slow to come to rest",
        "moving_filter_ms = 200",
        "moving_filter_ms = 65538",
        "function[5].moving_filter_ms",
        "65538",
        "at most 65536 ms",
    ),
    Case(
        "a moving speed without a road speed",
        'road_speed = "vehicle_speed"\nmoving_above = 2\nstanding_filter_ms = 8',
        "moving_above = 2",
        "function[5].moving_above",
        "without road_speed",
        "with one",
    ),
    Case(
        "a count in another unit",
        'unit = "ul"',
        'unit = "kg"',
        "function[6].output",
        'unit "kg"',
        '"ul or ml or l"',
    ),
    Case(
        "a modulus beyond the range",
        "modulus = 1000",
        "modulus = 1001",
        "function[6].modulus",
        "1001 steps",
        "at most 1000 steps",
    ),
    Case(
        "a wheel twice",
        'wheels = ["front_left", "front_right"',
        'wheels = ["front_left", "front_left", "front_right"',
        "function[0].wheels[1]",
        '"front_left" again',
        "each wheel once",
    ),
    Case(
        "a wheel in another step",
        '[quantity.rear_left]\nunit = "km/h"\nresolution = "0.01"',
        '[quantity.rear_left]\nunit = "km/h"\nresolution = "0.02"',
        "function[0].wheels[2]",
        "resolution 0.02",
        "resolution 0.01 of vehicle_speed",
    ),
    Case(
        "more wheels than there are",
        "least_wheels = 2",
        "least_wheels = 5",
        "function[0].least_wheels",
        "5",
        "at most 4",
    ),
    Case(
        "a negative spread",
        "spread = 1\n",
        "spread = -1\n",
        "function[0].spread",
        "-1",
        "not below 0",
    ),
    Case(
        "a share in too fine steps",
        "spread_percent = 5",
        'spread_percent = "5.05"',
        "function[0].spread_percent",
        "101/20",
        "in steps of 0.1",
    ),
    Case(
        "a shown speed that is rounded when sent",
        'RoadSpeed = { quantity = "speed_shown", not',
        'RoadSpeed = { quantity = "speed_shown", factor = 1, not',
        "transmit.body.DIALS.signals.RoadSpeed",
        "may round the speed down",
        "a multiple of the factor",
    ),
    Case(
        "a speed that can run backwards",
        '[quantity.speed_shown]\nunit = "km/h"\nresolution = "0.5"\nrange = [0, 310]',
        '[quantity.speed_shown]\nunit = "km/h"\nresolution = "0.5"\nrange = [-1, 310]',
        "function[0].shown",
        "below 0",
        "from 0 upwards",
    ),
    Case(
        "an unknown key",
        "lead_percent = 3",
        "lead_percents = 3",
        "function[0].lead_percents",
        'key "lead_percents"',
        "one of",
        "lead_percent",
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    folder = tmp_path / "instruments"
    shutil.copytree(PAIRING, folder)
    text = (folder / BRIDGE).read_text(encoding="utf-8")
    assert text.count(case.old) == 1
    (folder / BRIDGE).write_text(text.replace(case.old, case.new), encoding="utf-8")
    with pytest.raises(PairingError) as caught:
        load(folder)
    matching = [
        problem
        for problem in caught.value.problems
        if problem.key_path == case.key_path
        and case.found in problem.found
        and case.expected in problem.expected
        and (case.nearest is None or problem.nearest == case.nearest)
    ]
    assert len(matching) == 1, "\n".join(map(str, caught.value.problems))
    assert matching[0].line is not None


def test_the_pairing_itself_has_no_problem() -> None:
    assert load(PAIRING).name == "instruments"
