"""Published service figures: where each was published, and that a fixture is set to it.

Sources are manufacturers' service manuals as stored public pages; they are named here alone. The
scenarios that hold the functions to the figures name the number only.
"""

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
PUMP = ("service_figures", "pump_two_seconds")
STARTER = ("service_figures", "starter_heavy")


@dataclass(frozen=True)
class Figure:
    """A figure: its source, what it says, the function set to it, and the settings that say so."""

    source: str
    says: str
    pairing: str
    function: str
    settings: dict[str, Any]


FIGURES = {
    "SVC-001": Figure(
        "Honda Civic FC/FK service manual, trouble code P2138",
        "|A/2 - B| above 0.094..0.134 V for at least 0.24 s",
        "pedal_figures",
        "by_halves",
        {"tolerance": 2 * (94 + 134) // 2, "disagreement_ms": 240},
    ),
    "SVC-002": Figure(
        "Honda S2000 and Acura TL 2009 service manuals, trouble code P2138",
        "B outside 0..0.37 V at A = 0.37 V, outside 2.31..2.69 V at A = 5 V, at least 300 ms",
        "pedal_figures",
        "by_window",
        {"tolerance_curve": "window", "disagreement_ms": 300},
    ),
    "SVC-010": Figure(
        "Ford Taurus SHO 1989 service manual",
        "low fan on 102, off 99 degC; high fan on 110, off 107 degC",
        "service_figures",
        "fans_two_speed",
        {
            "stages": [
                {"output": "fan_two_1", "on": 102, "off": 99},
                {"output": "fan_two_2", "on": 110, "off": 107},
            ]
        },
    ),
    "SVC-011": Figure(
        "Ford Probe 1993/94 2.0 l service manual",
        "low fan on 97 degC, high fan on 108 degC",
        "service_figures",
        "fans_early",
        {
            "stages": [
                {"output": "fan_hot_1", "on": 97, "off": 93},
                {"output": "fan_hot_2", "on": 108, "off": 104},
            ]
        },
    ),
    "SVC-013": Figure(
        "Pontiac Firebird 1993 V6 service manual",
        "on at 109 degC; with air conditioning below 35 mph, off above 70 mph",
        "service_figures",
        "fan_single_speed",
        {"stages": [{"output": "fan_single", "on": 109, "off": 105}]},
    ),
    "SVC-014": Figure(
        "Saab 9000 1994 service manual",
        "fan for refrigerant R134a on at 16.5 bar, off at 12.5 bar",
        "service_figures",
        "fan_by_refrigerant",
        {"pressures": [{"quantity": "gas_pressure", "on": 1650, "off": 1250, "stage": 1}]},
    ),
    "SVC-016": Figure(
        "Acura RL 2005 service manual",
        "middle switch: high fan above 1520 kPa, low below 930 kPa",
        "service_figures",
        "fans_middle_switch",
        {"pressures": [{"quantity": "gas_pressure", "on": 1521, "off": 929, "stage": 2}]},
    ),
    "SVC-017": Figure(
        "Acura MDX 2012 service manual",
        "clutch off below 196 kPa or above 3138 kPa; fans high above 1470 kPa",
        "service_figures",
        "cooler_protected",
        {
            "pressure": {
                "quantity": "gas_pressure",
                "engage": [196, 3138],
                "release": [196, 3138],
            }
        },
    ),
    "SVC-019": Figure(
        "Pontiac Grand Am 1989 service manual",
        "low-pressure switch closes above 324 kPa, opens below 255 kPa",
        "service_figures",
        "cooler_low_switch",
        {
            "pressure": {
                "quantity": "gas_pressure",
                "engage": [325, 4000],
                "release": [255, 4000],
            }
        },
    ),
    "SVC-020": Figure(
        "Pontiac Firebird 2000 service manual, GM 2009/2010 trouble code P0230",
        "2 s prime, then off without reference pulses; off within 2 s after pulses stop",
        *PUMP,
        {"prime_ms": 2000, "off_delay_ms": 2000},
    ),
    "SVC-022": Figure(
        "Cummins 3666112, Mack and Peterbilt manuals",
        "30 s on, 2 min rest",
        *STARTER,
        {"max_crank_ms": 30_000, "limit_rest_ms": 120_000},
    ),
    "SVC-023": Figure(
        "Buick Rendezvous 2007 manual, page 130",
        "computer controlled crank: about 15 s at most, none while the engine runs",
        "service_figures",
        "starter_controlled",
        {"max_crank_ms": 15_000},
    ),
    "SVC-026": Figure(
        "Mack manual",
        "at least 5 s between an incomplete start and the next",
        *STARTER,
        {"rest_ms": 5_000},
    ),
}

ELSEWHERE = {  # figures no function is set to: the scenario alone holds them, or an option
    "SVC-004": "Saab 9-3 service manual (Trionic T8, Simtec): sensor 1 0.5..4.5 V, 2 0.3..2 V",
    "SVC-007": "BMW E92 service manual, pedal module: signal lag at most 50 ms",
    "SVC-025": "Cummins 3666112 manual: oil pressure within 15 s after start, or stop the engine",
}


@pytest.mark.parametrize("number", FIGURES)
def test_the_function_is_set_to_the_published_figure(number: str) -> None:
    figure = FIGURES[number]
    path = FIXTURES / "pairings" / figure.pairing / "bridge.toml"
    functions = tomllib.loads(path.read_text(encoding="utf-8"))["function"]
    (function,) = [one for one in functions if one["name"] == figure.function]
    assert {key: function[key] for key in figure.settings} == figure.settings


def test_the_window_of_two_lines_is_the_published_one() -> None:
    """SVC-002: the half width of twice B is 370 mV at A = 370 mV, 380 mV at A = 5000 mV."""
    path = FIXTURES / "pairings" / "pedal_figures" / "bridge.toml"
    curve = tomllib.loads(path.read_text(encoding="utf-8"))["curve"]["window"]
    assert curve["points"] == [[370, 2 * 370 - 370], [5000, 2 * 2690 - 5000]]
    assert 2 * 2310 == 5000 - 380


def test_the_road_speeds_of_miles_per_hour() -> None:
    """SVC-013: 35 and 70 mph, a mile being 1.609344 km, to the resolution of the quantity."""
    path = FIXTURES / "pairings" / "service_figures" / "bridge.toml"
    functions = tomllib.loads(path.read_text(encoding="utf-8"))["function"]
    (function,) = [one for one in functions if one["name"] == "fan_single_speed"]
    told = function["air_conditioning"]
    assert told["restore_below"] == round(35 * 1.609344, 2)
    assert told["drop_above"] == round(70 * 1.609344, 2)


def test_every_figure_has_a_source_here_and_a_scenario_there() -> None:
    named: set[str] = set()
    for path in (FIXTURES / "scenarios").rglob("*.scenario"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if line.startswith("purpose"):
                named |= set(re.findall(r"SVC-\d+", line))
    assert named == {*FIGURES, *ELSEWHERE}
