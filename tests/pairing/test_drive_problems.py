"""Problems of fans, pump, air conditioning, starter and torque, and their place in the file."""

import shutil
from pathlib import Path
from typing import NamedTuple

import pytest

from xlate_core.pairing import PairingError, load

PAIRING = Path(__file__).parents[2] / "fixtures" / "pairings" / "orchard_hauler"
BRIDGE = "bridge.toml"
STARTER, RUNNING, STABILITY, COOLER, FANS, RADIATOR, PUMP = (
    f"function[{number}]" for number in (0, 1, 2, 4, 5, 6, 7)
)


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
        "starter without interlock",
        'all_of = ["brake_pressed"]\nany_of = ["clutch_pressed", "neutral"]\n',
        "",
        f"{STARTER}.all_of",
        "no interlock",
        "all_of or any_of",
    ),
    Case(
        "interlock that does not exist",
        '"clutch_pressed", "neutral"]',
        '"clutch_presed", "neutral"]',
        f"{STARTER}.any_of[0]",
        "clutch_presed",
        "a quantity",
        "clutch_pressed",
    ),
    Case(
        "crank begins above its release",
        "turning_above = 30",
        "turning_above = 500",
        f"{STARTER}.turning_above",
        "500",
        "at most release_above = 450",
    ),
    Case(
        "shorter rest after the longest crank",
        "limit_rest_ms = 80",
        "limit_rest_ms = 10",
        f"{STARTER}.limit_rest_ms",
        "10",
        "at least rest_ms = 20",
    ),
    Case(
        "crank time between two control ticks",
        "max_crank_ms = 60",
        "max_crank_ms = 61",
        f"{STARTER}.max_crank_ms",
        "61",
        "a multiple of 2 ms: 60 or 62",
    ),
    Case(
        "outcome that does not hold its numbers",
        'outcome = "starter_outcome"',
        'outcome = "idle_up"',
        f"{STARTER}.outcome",
        '"idle_up"',
        "the whole numbers 0 to 8",
    ),
    Case(
        "running upside down",
        "running_below = 300",
        "running_below = 501",
        f"{RUNNING}.running_below",
        "501",
        "at most running_above = 500",
    ),
    Case(
        "told on loss without a reason",
        'on_loss_reason = "Steering help must not end in a bend; a generator without engine only '
        'drains the battery"\n',
        "",
        f"{RUNNING}.on_loss_reason",
        "no such key",
        "",
    ),
    Case(
        "what a listener is told",
        'on_loss = "last"',
        'on_loss = "lost"',
        f"{RUNNING}.listeners[2].on_loss",
        '"lost"',
        '"last"',
        "last",
    ),
    Case(
        "torque altered by its resolution",
        '[quantity.stability_sent]\nunit = "Nm"\nresolution = "0.5"',
        '[quantity.stability_sent]\nunit = "Nm"\nresolution = 1',
        f"{STABILITY}.carried",
        "resolution 1 of stability_sent",
        "0.5, as of stability_torque: carried unaltered",
    ),
    Case(
        "torque altered by its range",
        '[quantity.stability_sent]\nunit = "Nm"\nresolution = "0.5"\nrange = [-500, 1000]',
        '[quantity.stability_sent]\nunit = "Nm"\nresolution = "0.5"\nrange = [-400, 1000]',
        f"{STABILITY}.carried",
        "range -400..1000",
        "a range that holds -500..1000",
    ),
    Case(
        "torque later than its budget",
        "on_change = true\nmin_gap_ms = 2",
        "on_change = false",
        f"{STABILITY}.latency_budget_ms",
        "10",
        "at least 12 ms: a control tick and the wait for WISHES",
    ),
    Case(
        "window that keeps less than it gives",
        "engage = [700, 5000], release = [600, 5500]",
        "engage = [700, 5000], release = [701, 5500]",
        f"{COOLER}.engine_speed.release[0]",
        "701",
        "at most engage[0] = 700",
    ),
    Case(
        "window upside down",
        "engage = [250, 2600]",
        "engage = [2600, 250]",
        f"{COOLER}.pressure.engage[0]",
        "2600",
        "less than engage[1] = 250",
    ),
    Case(
        "full pedal without hysteresis",
        "full = 90, below = 80",
        "full = 90, below = 90",
        f"{COOLER}.pedal.below",
        "90",
        "less than full = 90",
    ),
    Case(
        "floor dropped and never asked again",
        "drop_above = 60, restore_below = 50",
        "drop_above = 60, restore_below = 60",
        f"{FANS}.air_conditioning.restore_below",
        "60",
        "less than drop_above = 60",
    ),
    Case(
        "floor dropped by no speed",
        'road_speed = "road_speed", drop_above = 60, restore_below = 50',
        'road_speed = "road_speed", drop_above = 60',
        f"{FANS}.air_conditioning.restore_below",
        "no such key",
        "together with road_speed",
    ),
    Case(
        "pressure stage that does not exist",
        "off = 1200, stage = 2",
        "off = 1200, stage = 3",
        f"{FANS}.pressures[0].stage",
        "3",
        "at most 2 stage(s)",
    ),
    Case(
        "pressure without hysteresis",
        "on = 1500, off = 1200",
        "on = 1500, off = 1500",
        f"{FANS}.pressures[0].off",
        "1500",
        "less than on = 1500",
    ),
    Case(
        "over-voltage upside down",
        "above = 16000, below = 15000, beats_loss = false",
        "above = 16000, below = 17000, beats_loss = false",
        f"{FANS}.over_voltage.below",
        "17000",
        "less than above = 16000",
    ),
    Case(
        "after-run longer than the module is awake",
        "longest_ms = 30",
        "longest_ms = 62",
        f"{FANS}.after_run.longest_ms",
        "62",
        "at most power.after_run_ms = 60",
    ),
    Case(
        "lowest duty of nothing",
        "minimum = 20",
        "minimum = 0",
        f"{RADIATOR}.minimum",
        "0",
        "more than 0",
    ),
    Case(
        "duty of a curve that does not exist",
        'curve = "fan_by_coolant"',
        'curve = "fan_by_coolent"',
        f"{RADIATOR}.curve",
        "fan_by_coolent",
        "a curve",
        "fan_by_coolant",
    ),
    Case(
        "command outside the valid band",
        "prime = 50",
        "prime = 85",
        f"{PUMP}.command.prime",
        "85",
        "within the valid band 20..80",
    ),
    Case(
        "command that means something else",
        "diagnostic = [[0, 10], [90, 100]]",
        "diagnostic = [[0, 10], [46, 49]]",
        f"{PUMP}.command.levels[1].command",
        "48",
        "outside the band 46..49, which is diagnostic",
    ),
    Case(
        "levels that do not rise",
        "{ above = 40, command = 48 }",
        "{ above = 20, command = 48 }",
        f"{PUMP}.command.levels[1].above",
        "20",
        "more than 20 of the level below",
    ),
    Case(
        "run on without a reason",
        'on_loss_reason = "A hauler that stops on a slope with a loaded trailer is worse than a '
        'few more drops of fuel"\n',
        "",
        f"{PUMP}.on_loss_reason",
        "no such key",
        "why the pump stays on",
    ),
    Case(
        "crash latch that no reset survives",
        "kept = true",
        "kept = false",
        f"{PUMP}.crash",
        "without power.kept = true",
        "the latch ends with an ignition cycle",
    ),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_the_problem_is_told_in_its_place(case: Case, tmp_path: Path) -> None:
    folder = tmp_path / "orchard_hauler"
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


def test_the_pairing_itself_notes_only_the_crank_request() -> None:
    notes = load(PAIRING).notes
    assert len(notes) == 1
    assert "power crank uses starting" in notes[0]
