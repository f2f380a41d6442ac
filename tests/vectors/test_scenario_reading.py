"""Reading scenarios: every mistake is one sentence with line, found, expected and nearest name."""

from pathlib import Path

import pytest

from hil.vectors.errors import ScenarioError
from hil.vectors.reading import read_scenario
from hil.vectors.scenario import RampSignal, SendFrame, SetLevel, SetSignal
from tests.vectors.helpers import HEADER, names, scenario
from xlate_core.frames import Frame


def mistake(body: str) -> str:
    with pytest.raises(ScenarioError) as caught:
        scenario(body)
    return str(caught.value)


def test_times_in_seconds_and_milliseconds_are_the_same_tick() -> None:
    read = scenario("at 0.012 s set engine.STATE.Speed 1\nat 12 ms set engine.STATE.Speed 2\n")
    assert [action.tick for action in read.actions] == [12, 12]


def test_a_time_between_ticks_names_both_neighbours() -> None:
    text = mistake("at 12.5 ms set supply 9000 mV\n")
    assert text.startswith("sample.scenario:7: the time is 12.5 ms, no multiple of the tick")
    assert "neighbours are 12 ms and 13 ms" in text


@pytest.mark.parametrize(
    ("body", "parts"),
    [
        ("at 1 ms sett supply 9000 mV\n", ["`sett` begins no statement", "set"]),
        ("set engine.STATE.Sped 100\n", ["`engine.STATE.Sped`", "engine.STATE.Speed"]),
        ("set engine.STAT.Speed 100\n", ["nearest valid name: engine.STATE.Speed"]),
        ("send engine.STAT\n", ["nearest valid name: engine.STATE"]),
        ("set input key_swich active\n", ["nearest valid name: key_switch"]),
        ("set input key_switch on\n", ["`on` is no level", "active|inactive|high|low"]),
        ("set engine.STATE.Speed 20000\n", ["raw 80000", "0..65535", "0..16383.75"]),
        ("set engine.STATE.Speed fast\n", ["no number or value text", "`fast`"]),
        ("set supply 9000\n", ["the end of the line", "`mV`"]),
        ("at 100 ms set supply 9000 mV\n", ["behind the end", "lasts 100 ms"]),
        ("expect output fan_relay active at 100 ms\n", ["behind the end"]),
        ("expect output fan_rely active at 1 ms\n", ["nearest valid name: fan_relay"]),
        ("expect quantity coolant status stalled at 1 ms\n", ["nearest valid name: stale"]),
        ("expect unit_lots of engine.STATE at 1 ms\n", ["nearest valid name: unit_lost"]),
        ("expect no unit_lost of engine.STAT by 9 ms\n", ["nearest valid name: engine.STATE"]),
        ("expect no unit_lost of coolant by 9 ms\n", ["`coolant` is no subject of unit_lost"]),
        ("expect sent body.GAUGE.Turns 3 soon\n", ["`soon` found where `at` belongs"]),
        ("expect output fan_relay stays active from 9 ms to 2 ms\n", ["ends before it begins"]),
        ("at 1 ms shorten engine.STATE to 6 octets\n", ["0..5"]),
        ("at 1 ms length code 8 of engine.STATE\n", ["9..15"]),
        ("at 1 ms frame body 800 00\n", ["800 is above 7FF"]),
        ("at 1 ms frame body 12 00\n", ["`12` is no identifier", "3 hex digits"]),
        ("at 1 ms frame body 123 001\n", ["`001` is no data"]),
        ("at 1 ms reset brownout\n", ["nearest valid name: brown_out"]),
        ("send engine.STATE every 0 ms\n", ["longer than 0"]),
        ("send engine.STATE every 2 ms selecting 1\n", ["not multiplexed"]),
        ("title Again\n", ["title` stands twice", "line 2"]),
        ("set supply 9000 mV\ntitle Late\n", ["belongs to the header"]),
        ("expect quantity coolant 80.5 at 1 ms\n", ["resolution of coolant is 1", "range"]),
    ],
)
def test_a_mistake_says_what_was_found_and_what_belongs_there(body: str, parts: list[str]) -> None:
    text = mistake(body)
    for part in parts:
        assert part in text
    assert "\n" not in text


def test_all_mistakes_of_a_file_are_told_at_once() -> None:
    text = mistake("at 1 ms sett supply 9000 mV\nset supply 1 V\n")
    assert [line.split(": ")[0] for line in text.split("\n")] == [
        "sample.scenario:7",
        "sample.scenario:8",
    ]


@pytest.mark.parametrize(
    ("changed", "part"),
    [
        (("scenario sample\n", "scenario other\n"), "the file's name says `sample`"),
        (("title    A sample\n", ""), "the header has no line `title ...`"),
        (("hunts    nothing_real\n", "hunts\n"), "`hunts` says nothing; expected `hunts FLAG"),
        (("title    A sample\n", "title\n"), "`title` says nothing"),
        (("lasts    100 ms\n", "lasts 0 ms\n"), "longer than 0"),
        (("lasts    100 ms\n", "lasts 100\n"), "unit of time is missing"),
    ],
)
def test_a_bad_header_is_refused(changed: tuple[str, str], part: str) -> None:
    text = HEADER.format(pairing="minimal", lasts="100 ms")
    assert changed[0] in text
    with pytest.raises(ScenarioError, match=part):
        read_scenario(Path("sample.scenario"), text.replace(*changed), names())


def test_physical_values_become_raw_halves_away_from_zero() -> None:
    # Speed has 0.25 rpm a bit, Torque 0.5 Nm: 0.125 rpm and -0.25 Nm are exact halves.
    read = scenario(
        "set engine.STATE.Speed 0.125\nset engine.STATE.Speed 0.124\n"
        "set engine.STATE.Torque -0.25\nset engine.STATE.Torque 1/4\n"
    )
    assert [one.raw for one in read.actions if isinstance(one, SetSignal)] == [1, 0, -1, 1]


def test_value_texts_stand_for_their_raw_value() -> None:
    read = scenario("set engine.STATE.Speed not_available\nset engine.STATE.Coolant error\n")
    assert [one.raw for one in read.actions if isinstance(one, SetSignal)] == [65535, 254]


def test_active_is_the_electrical_level_of_the_pin() -> None:
    farm = scenario(
        "set input ignition_switch active\nset input starter_switch active\n"
        "set input starter_switch high\n",
        pairing="farm_pickup",
    )
    assert [one.high for one in farm.actions if isinstance(one, SetLevel)] == [True, False, True]


def test_identifiers_of_three_and_eight_digits_are_different_formats() -> None:
    read = scenario("at 1 ms frame body 123 00\nat 1 ms frame engine 00000123 -\n")
    assert [one.frame for one in read.actions if isinstance(one, SendFrame)] == [
        Frame(0, False, 0x123, b"\x00"),
        Frame(1, True, 0x123, b""),
    ]


def test_actions_of_one_tick_keep_their_written_order() -> None:
    read = scenario(
        "at 5 ms set engine.STATE.Speed raw 5\nat 1 ms set engine.STATE.Speed raw 1\n"
        "from 5 ms ramp engine.STATE.Speed 0 to 10 over 2 ms\n"
    )
    assert [action.tick for action in read.actions] == [1, 5, 5]
    assert isinstance(read.actions[2], RampSignal)
