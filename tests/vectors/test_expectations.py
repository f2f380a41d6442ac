"""Expectations: what a person says is judged on every tick it speaks of, and so is the opposite.

Scenario: key on at 10 ms; STATE every 2 ms; the switch is debounced for 2 ms, so the quantity `key`
is 1 from 12 ms on. Two wrong frames from 60 ms on mature the link fault (2 steps each, limit 4).
"""

import pytest

from hil.boards.reference import ReferenceBoard
from hil.vectors.generation import run_watched
from hil.vectors.scenario import ValueExpectation
from hil.vectors.watching import new_watch
from tests.vectors.helpers import disagreements, names, scenario
from xlate_core.events import Event, Reason

BODY = """\
send engine.STATE every 2 ms
set engine.STATE.Speed 850
set engine.STATE.Coolant 80
at 10 ms set input key_switch active
at 60 ms corrupt checksum of engine.STATE for 2 frames
"""

TRUE = [
    "expect quantity key 0 at 11 ms",
    "expect quantity key 1 at 12 ms",
    "expect quantity key becomes 1 within 2 ms after 10 ms",
    "expect quantity key stays 0 from 0 ms to 11 ms",
    "expect quantity engine_speed 850 at 30 ms",
    "expect quantity engine_speed raw 3400 at 30 ms",
    "expect quantity engine_speed 849.9 to 850.1 at 30 ms",
    "expect quantity engine_speed status valid at 30 ms",
    "expect output fan_relay stays inactive from 0 ms to 99 ms",
    "expect output fan_relay low at 40 ms",
    "expect sent body.GAUGE.Turns 850 at 40 ms",
    "expect sent body.GAUGE.Turns raw 1700 at 40 ms",
    "expect sent body.GAUGE.KeyOn on at 40 ms",
    "expect sent body.GAUGE.Warmth 79.5 to 80.5 at 40 ms",
    "expect sent body.GAUGE every 10 ms from 20 ms to 59 ms",
    "expect sent body.GAUGE 4 times from 20 ms to 59 ms",
    "expect sent body.GAUGE never from 22 ms to 30 ms",
    "expect sent body.GAUGE at 21 ms",
    "expect no frame body 221 from 0 ms to 99 ms",
    "expect 2 checksum_wrong of engine.STATE by 99 ms",
    "expect 1 checksum_wrong of engine.STATE from 60 ms to 61 ms",
    "expect checksum_wrong of engine.STATE at 62 ms",
    "expect no counter_wrong of any by 99 ms",
    "expect power hold on at 40 ms",
]

# (what is untrue, what must be told)
UNTRUE = [
    ("expect quantity key 1 at 11 ms", "at 11 ms it was 0 (0 steps), status valid"),
    ("expect quantity key becomes 1 within 1 ms after 10 ms", "only at 12 ms"),
    ("expect quantity key becomes 1 within 5 ms after 13 ms", "it was so already at 12 ms"),
    ("expect quantity key stays 0 from 0 ms to 12 ms", "at 12 ms it was 1"),
    ("expect quantity engine_speed 851 at 30 ms", "it was 850 (3400 steps)"),
    ("expect quantity engine_speed 850.1 to 900 at 30 ms", "it was 850"),
    ("expect quantity engine_speed status stale at 30 ms", "status valid"),
    ("expect output fan_relay active at 40 ms", "it was inactive (low), since 0 ms"),
    ("expect output fan_relay becomes active within 9 ms after 40 ms", "never until the end"),
    ("expect sent body.GAUGE.Turns 849 at 40 ms", "it was 850 (raw 1700)"),
    ("expect sent body.GAUGE every 9 ms from 20 ms to 90 ms", "10 ms apart"),
    ("expect sent body.GAUGE 5 times from 20 ms to 59 ms", "4 frames; first: "),
    ("expect sent body.GAUGE never from 21 ms to 30 ms", "1 frames; first: "),
    ("expect sent body.GAUGE at 22 ms", "no frame in this tick; nearest: "),
    ("expect sent body.GAUGE bytes 00 at 21 ms", "it carried "),
    ("expect frame body 123 00 at 21 ms", "no frame in this tick"),
    ("expect 3 checksum_wrong of engine.STATE by 99 ms", "2 events; at 60 ms, 62 ms"),
    ("expect checksum_wrong of engine.STATE at 61 ms", "0 events; elsewhere at 60 ms, 62 ms"),
    ("expect no checksum_wrong of any by 99 ms", "2 events"),
    ("expect power hold off at 40 ms", "it was on"),
]


@pytest.mark.parametrize("line", TRUE)
def test_what_is_so_is_accepted(line: str) -> None:
    assert disagreements(BODY + line) == []


@pytest.mark.parametrize(("line", "told"), UNTRUE)
def test_what_is_not_so_is_refused_with_what_was_seen(line: str, told: str) -> None:
    found = disagreements(BODY + line)
    assert len(found) == 1
    assert found[0].line == 12
    assert told in found[0].observed


def test_a_value_is_looked_at_only_when_somebody_speaks_of_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked: list[str] = []
    quantity = ReferenceBoard.quantity

    def seen(board: ReferenceBoard, name: str) -> tuple[int, str]:
        looked.append(name)
        return quantity(board, name)

    monkeypatch.setattr(ReferenceBoard, "quantity", seen)
    lines = "expect quantity key 1 at 40 ms\nexpect quantity key stays 1 from 41 ms to 43 ms\n"
    assert disagreements(BODY + lines) == []
    assert len(looked) == 5  # 39 to 43 ms: the tick before as well, for `becomes`
    looked.clear()
    assert len(disagreements(BODY + lines + "expect quantity key 0 at 50 ms\n")) == 1
    assert len(looked) == 7 + 100  # what is not met is told from a second run, seen throughout


def test_events_are_listened_to_only_in_the_ticks_somebody_speaks_of(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[bool] = []
    observe = ReferenceBoard.observe
    taken: list[Event] = []
    take = ReferenceBoard.take_events

    def seen(board: ReferenceBoard, on: bool, reasons: frozenset[Reason] | None) -> None:
        asked.append(on)
        observe(board, on, reasons)

    def gathered(board: ReferenceBoard) -> list[Event]:
        found = take(board)
        taken.extend(found)
        return found

    monkeypatch.setattr(ReferenceBoard, "observe", seen)
    monkeypatch.setattr(ReferenceBoard, "take_events", gathered)
    soon = "expect 1 checksum_wrong of engine.STATE from 60 ms to 61 ms\n"
    late = "expect no checksum_wrong of any from 400 ms to 410 ms\n"
    assert disagreements(BODY + soon + late, "500 ms") == []
    assert asked == [False, True, False, True, False]
    assert {event.tick for event in taken} <= {*range(60, 62), *range(400, 411)}
    assert len([event for event in taken if event.reason is Reason.CHECKSUM_WRONG]) == 1
    asked.clear()
    wrong = "expect 2 checksum_wrong of any from 400 ms to 410 ms\n"
    (found,) = disagreements(BODY + soon + wrong, "500 ms")
    assert found.observed == "0 events; elsewhere at 60 ms, 62 ms"
    assert asked[-1:] == [True]  # what is not met is told from a second run, listened to throughout


@pytest.mark.parametrize("line", TRUE)
def test_looking_in_a_few_ticks_sees_what_looking_throughout_sees(line: str) -> None:
    asked = scenario(BODY + line)
    few, all_ = (new_watch(asked.expectations, names(), throughout) for throughout in (False, True))
    assert run_watched(asked, names(), True, few) == run_watched(asked, names(), True, all_)
    for source, series in few.series.items():
        for one in asked.expectations:
            if isinstance(one, ValueExpectation) and one.source == source:
                first, last = max(one.first - 1, 0), one.last
                assert series.during(first, last) == all_.series[source].during(first, last)
    assert few.frames == all_.frames


def test_before_the_first_frame_there_is_nothing() -> None:
    (found,) = disagreements("expect sent body.GAUGE.Turns 0 at 0 ms")  # its offset is 1 ms
    assert found.observed.startswith("at 0 ms it was nothing yet")


def test_every_disagreement_is_told() -> None:
    found = disagreements(BODY + "\n".join(line for line, _ in UNTRUE))
    assert [one.line for one in found] == list(range(12, 12 + len(UNTRUE)))
