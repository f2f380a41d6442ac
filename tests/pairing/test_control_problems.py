"""Problems of pedals, cruise buttons, mode selectors and analogue inputs, told in their place."""

from pathlib import Path

import pytest

from xlate_core.pairing import PairingError, load

TRUCK = Path(__file__).parents[2] / "fixtures" / "pairings" / "quarry_truck"
THERMISTOR = "beta = { ohm = 2500, at = 20, beta = 3500 }, max_error = 0.6"

# what it is about, right text (the first place counts), wrong text, key path, parts of the sentence
CASES = [
    (
        "track of another unit",
        '[quantity.pedal_2]\nunit = "%"',
        '[quantity.pedal_2]\nunit = "mm"',
        "function[0].track_2",
        ('"mm"', "as track_1"),
    ),
    (
        "no brake choice",
        'on_brake_loss = "pressed"\n',
        "",
        "function[0].on_brake_loss",
        ("no such key", "with brake"),
    ),
    (
        "no reason",
        'on_disagreement_reason = "Nobody',
        '# "Nobody',
        "function[0].on_disagreement_reason",
        ("no such key", "why"),
    ),
    (
        "override without its end",
        "override_below = 5\n",
        "",
        "function[0].override_above",
        ("one of them alone", "together"),
    ),
    (
        "override ends above",
        "override_below = 5\n",
        "override_below = 26\n",
        "function[0].override_below",
        ("26", "at most override_above = 25"),
    ),
    (
        "two tolerances",
        "tolerance = 5\n",
        'tolerance = 5\ntolerance_curve = "work_tolerance"\n',
        "function[0].tolerance",
        ("both", "either"),
    ),
    (
        "curve unknown",
        'tolerance_curve = "work_tolerance"',
        'tolerance_curve = "work_tolerence"',
        "function[1].tolerance_curve",
        ("work_tolerence", "work_tolerance"),
    ),
    (
        "time beside the control tick",
        "override_ms = 6",
        "override_ms = 7",
        "function[0].override_ms",
        ("7", "6 or 8"),
    ),
    (
        "code twice",
        '{ value = 4, button = "cancel" }',
        '{ value = 3, button = "cancel" }',
        "function[2].codes[4].value",
        ("3 again", "once"),
    ),
    (
        "codes without code",
        'code = "stalk"\n',
        "",
        "function[2].codes",
        ("codes without code", "together"),
    ),
    (
        "window upside down",
        "speed_window = [30, 80]",
        "speed_window = [80, 30]",
        "function[2].speed_window",
        ("[80, 30]", "lowest"),
    ),
    (
        "stuck before debounce",
        "stuck_ms = 40\nbrake",
        "stuck_ms = 4\nbrake",
        "function[2].stuck_ms",
        ("4", "more than 4"),
    ),
    (
        "button unknown",
        'buttons = ["mode_button_dash"], press = "long"',
        'buttons = ["mode_button_desh"], press = "long"',
        "function[3].actions[1].buttons[0]",
        ("mode_button_desh", "mode_button_dash"),
    ),
    (
        "press twice",
        'press = "held", mode = 3',
        'press = "long", mode = 3',
        "function[3].actions[2]",
        ("mode_button_dash long again", "once"),
    ),
    (
        "mode missing",
        'press = "long", mode = 0',
        'press = "long"',
        "function[3].actions[1].mode",
        ("no mode", "with set"),
    ),
    (
        "mode outside",
        'press = "long", mode = 0',
        'press = "long", mode = 4',
        "function[3].actions[1].mode",
        ("4", "0..3"),
    ),
    (
        "held before long",
        "held_ms = 20\n",
        "held_ms = 8\n",
        "function[3].held_ms",
        ("8", "at least 10"),
    ),
    (
        "feedback alone",
        "unconfirmed = 7\n",
        "",
        "function[3].unconfirmed",
        ("one of them alone", "together"),
    ),
    (
        "two laws",
        "valid = [80, 3920]\n",
        "valid = [80, 3920]\nratiometric = { percent = [0, 9], value = [0, 1] }\n",
        "input.coolant_sensor.ratiometric",
        ("thermistor and ratiometric", "one of them"),
    ),
    (
        "no law",
        THERMISTOR,
        "max_error = 0.6",
        "input.coolant_sensor.thermistor",
        ("no law", "exactly one"),
    ),
    (
        "error too small",
        "max_error = 0.6",
        "max_error = 0.2",
        "input.coolant_sensor.thermistor.max_error",
        ("0.2", "half a step"),
    ),
    (
        "too many points",
        "max_error = 0.6",
        "max_error = 0.27",
        "input.coolant_sensor.thermistor.max_error",
        ("0.27", "64 points"),
    ),
    (
        "law without a temperature",
        "beta = { ohm = 2500, at = 20, beta = 3500 }",
        "steinhart_hart = [0, 0, 0]",
        "input.coolant_sensor.thermistor.steinhart_hart",
        ("without a temperature", "every valid count"),
    ),
    (
        "valid up to the end",
        "valid = [80, 3920]",
        "valid = [80, 4000]",
        "input.coolant_sensor.valid",
        ("[80, 4000]", "1..3999"),
    ),
    (
        "contacts too close",
        "gap_counts = 50",
        "gap_counts = 708",
        "input.cruise_stalk.ladder.contacts[1]",
        ("748..800", "708 counts or more", "0..40"),
    ),
    (
        "ladder without its resistor",
        "pull_up_ohm = 1000\n",
        "",
        "input.cruise_stalk.ladder.pull_up_ohm",
        ("no such key", "by resistance"),
    ),
    (
        "contact twice given",
        "{ value = 1, ohm = [0, 10] }",
        "{ value = 1, ohm = [0, 10], counts = [0, 40] }",
        "input.cruise_stalk.ladder.contacts[0]",
        ("both", "either ohm or counts"),
    ),
    (
        "track without ends",
        "percent = [10, 90]",
        "percent = [10, 10]",
        "input.pedal_track_1.ratiometric.percent",
        ("10 twice", "two different ends"),
    ),
    (
        "wiring for nobody",
        'wiring = "coolant_wiring"',
        'wiring = "coolant_wirring"',
        "input.coolant_sensor.wiring",
        ("coolant_wirring", "coolant_wiring"),
    ),
]


@pytest.mark.parametrize(
    ("right", "wrong", "path", "parts"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_told_in_its_place(
    right: str, wrong: str, path: str, parts: tuple[str, ...], tmp_path: Path
) -> None:
    for file in TRUCK.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    bridge = tmp_path / "bridge.toml"
    text = bridge.read_text(encoding="utf-8")
    assert right in text
    bridge.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    with pytest.raises(PairingError) as caught:
        load(tmp_path)
    told = [str(problem) for problem in caught.value.problems if problem.key_path == path]
    assert told, [str(problem) for problem in caught.value.problems]
    assert any(all(part in line for part in parts) for line in told), told
    assert all(problem.line for problem in caught.value.problems if problem.key_path == path)
