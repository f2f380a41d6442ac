"""Broken copies of lamps, gauges, counters and the vehicle speed in C, each with its vector."""

from tests.firmware.mistakes import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one function: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, f"functions/{file}", right, wrong, f"instruments/{vector}")
        for name, right, wrong, vector in rows
    )


LAMPS = _in(
    "lamps.c",
    (
        "bulb_check_only_once",
        "state->ignition = ignition;",
        "state->ignition = state->ignition != 0u || ignition != 0u;",
        "lamp_bulb_check",
    ),
    (
        "lamp_judged_one_control_tick_early",
        "state->run_time > spec->after_start",
        "state->run_time >= spec->after_start",
        "lamp_standing",
    ),
    (
        "lamp_dark_on_loss",
        "(missing != 0u && lamp->lit_on_loss != 0u)",
        "(missing != 0u && lamp->lit_on_loss == 0u)",
        "lamp_signs_lost",
    ),
    (
        "falling_cause_begins_one_step_low",
        "source->value <= cause->on",
        "source->value < cause->on",
        "lamp_oil_thresholds",
    ),
    (
        "lamp_delay_not_started_anew",
        "    if (wanted == state->lit) {\n        state->differs = 0u;\n",
        "    if (wanted == state->lit) {\n",
        "lamp_short_dip",
    ),
    (
        "cause_kept_over_a_loss",
        "judged == 0u || xb_usable(source) == 0u || ends",
        "judged == 0u || ends",
        "lamp_cause_forgotten_at_loss",
    ),
)

ENGINE_SPEED_GAUGE = _in(
    "engine_speed_gauge.c",
    (
        "engine_speed_held_one_control_tick_long",
        "state->held < spec->hold",
        "state->held <= spec->hold",
        "dial_held",
    ),
    (
        "dial_rates_swapped",
        "> state->shown ? spec->rise : spec->fall",
        "> state->shown ? spec->fall : spec->rise",
        "dial_rates",
    ),
    (
        "first_engine_speed_creeps",
        "state->known == 0u || rate == 0u",
        "rate == 0u",
        "dial_rates",
    ),
    (
        "engine_speed_at_rest_told_as_good",
        "spec->on_loss, source->status, 0u",
        "spec->on_loss, source->status, 1u",
        "dial_held",
    ),
)

PULSE_OUTPUT = _in(
    "pulse_output.c",
    (
        "frequency_cut_instead_of_rounded",
        "xb_divide(source->value * spec->a, spec->d)",
        "source->value * spec->a / spec->d",
        "tacho_lowest",
    ),
    (
        "lowest_frequency_excluded",
        "frequency < spec->lowest",
        "frequency <= spec->lowest",
        "tacho_lowest",
    ),
    (
        "highest_frequency_ignored",
        "        frequency = spec->highest;\n",
        "        frequency += 0;\n",
        "tacho_highest",
    ),
    (
        "pulses_on_loss",
        "spec->on_loss, source->status, 0u",
        "spec->lowest, source->status, 0u",
        "speed_pulses_lost",
    ),
)

FUEL_LEVEL = _in(
    "fuel_level.c",
    (
        "fuel_hold_not_started_anew",
        "    state->held = 0u;\n",
        "",
        "fuel_short_gap",
    ),
    (
        "fuel_filters_swapped",
        "? spec->moving_ms : spec->standing_ms",
        "? spec->standing_ms : spec->moving_ms",
        "fuel_standing",
    ),
    (
        "moving_one_step_high",
        "speed->value >= spec->moving_above",
        "speed->value > spec->moving_above",
        "fuel_moving_threshold",
    ),
    (
        "unknown_speed_counts_as_standing",
        "xb_usable(speed) == 0u || speed",
        "speed",
        "fuel_speed_lost",
    ),
    (
        "fuel_filter_cuts_instead_of_rounding",
        "xb_divide((target - state->fine) * (int64_t)spec->control_ms, constant)",
        "(target - state->fine) * (int64_t)spec->control_ms / (int64_t)constant",
        "fuel_moving",
    ),
)

CONSUMPTION_COUNTER = _in(
    "consumption_counter.c",
    (
        "rest_of_the_count_lost",
        "state->rest = total % spec->d;",
        "state->rest = 0u;",
        "fuel_count_rest",
    ),
    (
        "count_goes_round_one_late",
        "% spec->modulus",
        "% (spec->modulus + 1u)",
        "fuel_count_wraps",
    ),
    (
        "count_goes_on_without_flow_data",
        "real != 0u && source->value > 0",
        "source->value > 0",
        "fuel_count_lost",
    ),
    (
        "standing_count_told_as_good",
        "source->status, real);",
        "source->status, 1u);",
        "fuel_count_lost",
    ),
)

VEHICLE_SPEED = _in(
    "vehicle_speed.c",
    (
        "a_wheel_agrees_with_itself",
        "i != j && ahead >= 0",
        "ahead >= 0",
        "speed_fastest_agreed",
    ),
    (
        "spread_excluded",
        "ahead <= band",
        "ahead < band",
        "speed_spread",
    ),
    (
        "smallest_wheel_when_none_agree",
        "values[i] > found",
        "values[i] < found",
        "speed_spread",
    ),
    (
        "shown_speed_rounded_down",
        "xb_divide_up(state->speed",
        "xb_divide(state->speed",
        "speed_lead",
    ),
    (
        "implausible_one_control_tick_early",
        "state->disagreed > spec->disagree",
        "state->disagreed >= spec->disagree",
        "speed_spread",
    ),
    (
        "speed_held_one_control_tick_long",
        "state->held < spec->hold",
        "state->held <= spec->hold",
        "speed_too_few_wheels",
    ),
)

MISTAKES = (
    *LAMPS,
    *ENGINE_SPEED_GAUGE,
    *PULSE_OUTPUT,
    *FUEL_LEVEL,
    *CONSUMPTION_COUNTER,
    *VEHICLE_SPEED,
)
