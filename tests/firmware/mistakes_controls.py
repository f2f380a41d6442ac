"""Broken copies of the C of pedal, cruise buttons, mode selector and analogue inputs."""

from tests.firmware.mistakes import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one file: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, file, right, wrong, f"quarry_truck/{vector}")
        for name, right, wrong, vector in rows
    )


PEDAL = _in(
    "functions/accelerator_pedal.c",
    (
        "pedal_distance_one_sided",
        "first < second ? (int64_t)second - first : (int64_t)first - second",
        "(int64_t)first - second",
        "pedal_apart_first_low",
    ),
    (
        "pedal_disagreement_one_control_tick_late",
        "state->differs >= spec->disagreement",
        "state->differs > spec->disagreement",
        "pedal_apart_second_low",
    ),
    (
        "pedal_limp_follows_the_lost_track",
        "good_1 != 0u ? first : second",
        "good_1 != 0u ? second : first",
        "pedal_limp_on_first_track",
    ),
    (
        "pedal_override_ends_at_the_threshold",
        "pedal < spec->override_below",
        "pedal <= spec->override_below",
        "pedal_brake_override",
    ),
    (
        "pedal_lost_brake_is_released",
        "xb_lost(brake) != 0u ? spec->brake_lost_pressed : brake->value != 0",
        "brake->value != 0",
        "pedal_brake_data_lost",
    ),
    (
        "pedal_jumps_after_loss",
        "        state->slow = 1u;\n",
        "        state->slow = 0u;\n",
        "pedal_supply_lost",
    ),
)

CRUISE = _in(
    "functions/cruise_buttons.c",
    (
        "cruise_cancel_is_a_button_like_others",
        "|| *found == (uint8_t)XB_BUTTON_CANCEL",
        "",
        "cruise_cancel_before_others",
    ),
    (
        "cruise_last_of_two_buttons",
        "return both != 0u ? (uint8_t)XB_BUTTON_NONE : found;",
        "return found;",
        "cruise_two_buttons",
    ),
    (
        "cruise_stuck_one_control_tick_late",
        "state->held >= spec->stuck",
        "state->held > spec->stuck",
        "cruise_stuck_button",
    ),
    (
        "cruise_lowest_speed_is_outside",
        "speed < spec->speed_low",
        "speed <= spec->speed_low",
        "cruise_speed_window",
    ),
    (
        "cruise_resume_without_a_speed",
        "event == (uint8_t)XB_BUTTON_RESUME && state->stored != 0u",
        "event == (uint8_t)XB_BUTTON_RESUME",
        "cruise_resume_needs_a_speed",
    ),
    (
        "cruise_loss_ignored",
        "whole == 0u || speed",
        "whole > 1u || speed",
        "cruise_gap_on_the_way",
    ),
)

MODES = _in(
    "functions/mode_selector.c",
    (
        "mode_long_one_control_tick_late",
        "xb_add_one(state->time) >= spec->long_",
        "state->time >= spec->long_",
        "mode_long_press",
    ),
    (
        "mode_time_from_the_first_button",
        "        state->time = 0u;\n    } else {\n        state->time = xb",
        "        state->time = xb_add_one(state->time);\n    } else {\n        state->time = xb",
        "mode_combination",
    ),
    (
        "mode_held_and_its_release",
        "        state->done = 1u;\n",
        "",
        "mode_held_press",
    ),
    (
        "mode_kept_on_loss",
        "state->failsafe != 0u && spec->keep_on_loss == 0u",
        "state->failsafe != 0u && spec->keep_on_loss != 0u",
        "mode_button_lost",
    ),
    (
        "mode_without_permission",
        "xb_usable(permit) != 0u && permit->value != 0",
        "xb_usable(permit) != 0u",
        "mode_needs_permission",
    ),
)

ANALOGUE = _in(
    "pins.c",
    (
        "contact_without_its_last_count",
        "counts <= spec->bands[i].high",
        "counts < spec->bands[i].high",
        "cruise_stalk_bands",
    ),
    (
        "gap_keeps_the_button",
        "return XB_READING_BETWEEN;",
        "return XB_READING_GOOD;",
        "cruise_stalk_bands",
    ),
    (
        "open_wire_is_a_value",
        "counts > spec->valid_high",
        "counts > spec->valid_high + 1",
        "pedal_wiring_window",
    ),
    (
        "open_and_short_mixed_up",
        "return XB_READING_HIGH;",
        "return XB_READING_LOW;",
        "thermistor_wiring",
    ),
)

TERMINALS = _in(
    "terminals.c",
    (
        "lost_reading_is_valid",
        "say(engine, source, value, read_as[reading]);",
        "say(engine, source, value, (uint8_t)XB_VALID);",
        "pedal_wiring_window",
    ),
)

MISTAKES = (*PEDAL, *CRUISE, *MODES, *ANALOGUE, *TERMINALS)
