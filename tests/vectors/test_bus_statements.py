"""Conditions of buses, commands, and frames in order: read, played, judged, and refused."""

from pathlib import Path

import pytest

from hil.reduced_scenario import statement
from hil.reduction import Event
from hil.vectors.errors import ScenarioError
from hil.vectors.generation import Generated, generate
from hil.vectors.names import names_of
from tests.core.test_bridge import PAIRINGS
from xlate_core.buses import BusInput
from xlate_core.pairing import load

NAMES = names_of(load(PAIRINGS / "long_nights"))
HEAD = """scenario trial
title    A trial
pairing  long_nights
purpose  A trial
hunts    state_divergence
lasts    2 s

set input accessory_switch active
"""


def run(folder: Path, body: str) -> Generated:
    path = folder / "trial.scenario"
    path.write_text(HEAD + body, encoding="utf-8")
    return generate(path, NAMES)


def test_what_a_controller_tells_stands_in_the_vector(tmp_path: Path) -> None:
    body = "from 1 s bus body unacknowledged until 1100 ms\nat 1200 ms bus engine off\n"
    text = run(tmp_path, body).content.decode("ascii")
    changes = {
        line.split("|")[0]: line for line in text.splitlines() if " b" in line or "|b" in line
    }
    assert "b0=0,0,1,0" in changes["1000"]
    assert "b0=0,0,0,0" in changes["1100"]
    assert "b1=2,0,0,0" in changes["1200"]


def test_nothing_arrives_from_a_bus_that_is_off(tmp_path: Path) -> None:
    body = (
        "at 1 s bus body off\nat 1010 ms send body.DOORS once\nat 1020 ms send engine.MOTOR once\n"
    )
    text = run(tmp_path, body).content.decode("ascii")
    assert "b:3B0" not in text
    assert "e:210" in text


@pytest.mark.parametrize(
    ("expectation", "seen"),
    [
        (
            "expect frames engine 6A1 0101 0303 in order from 0 s to 1 s",
            "number 2 is 0202 at 103 ms",
        ),
        ("expect frames engine 6A1 0101 in order from 0 s to 1 s", "expected no further one"),
        (
            "expect frames engine 6A1 0101 0202 0303 in order from 0 s to 1 s",
            "number 3 is no frame",
        ),
        ("expect command to engine listen at 1 s", "it was normal"),
        ("expect state power.mode 2 to 4 at 1 s", "it was 1"),
    ],
)
def test_a_disagreement_says_what_was_seen(tmp_path: Path, expectation: str, seen: str) -> None:
    body = "at 100 ms frame body 6A1 0101\nat 103 ms frame body 6A1 0202\n"
    (told,) = run(tmp_path, body + expectation + "\n").disagreements
    assert seen in told.observed


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("at 1 s bus engyne off", "nearest"),
        ("at 1 s bus engine offf", "condition of a bus"),
        ("from 1 s bus engine off until 500 ms", "the end must be behind the start"),
        ("expect state power.mod 2 at 1 s", "power.mode"),
        ("expect frames engine 6A1 in order from 0 s to 1 s", "is no data"),
        ("expect command to engine sleeping at 1 s", "sleep"),
    ],
)
def test_a_mistake_is_told_with_line_and_nearest_name(tmp_path: Path, line: str, told: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        run(tmp_path, line + "\n")
    assert "trial.scenario:9" in str(caught.value)
    assert told in str(caught.value)


def test_a_reduced_scenario_can_say_it() -> None:
    off: tuple[str, int, int] = ("buses", 1, BusInput(2))  # type: ignore[assignment]
    assert statement(Event(7, pin=off), NAMES) == "at 7 ms bus engine off"
