"""One-line mistakes in lamps, gauges, counters and the vehicle speed, each with its vector."""

from tests.broken.harness import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one function: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, f"functions/{file}", old, new, f"instruments/{vector}")
        for name, old, new, vector in rows
    )


LAMPS = _in(
    "lamps.py",
    (
        "bulb_check_one_control_tick_long",
        "state.check_left = spec.bulb_check",
        "state.check_left = spec.bulb_check + 1",
        "lamp_bulb_check",
    ),
    (
        "bulb_check_only_once",
        "state.ignition = ignition",
        "state.ignition = state.ignition or ignition",
        "lamp_bulb_check",
    ),
    (
        "bulb_check_goes_on_without_key",
        "state.check_left = 0\n",
        "state.check_left = state.check_left\n",
        "lamp_bulb_check_short_key",
    ),
    (
        "bulb_check_of_every_lamp",
        "lamp.in_bulb_check and state.check_left > 0",
        "state.check_left > 0",
        "lamp_bulb_check",
    ),
    (
        "lamp_judged_one_control_tick_early",
        "state.run_time > spec.after_start",
        "state.run_time >= spec.after_start",
        "lamp_standing",
    ),
    (
        "time_after_start_goes_on_over_a_stall",
        "if power.mode == RUNNING else 0",
        "if power.mode == RUNNING else state.run_time",
        "lamp_engine_stops",
    ),
    (
        "lamp_dark_on_loss",
        "(missing and lamp.lit_on_loss)",
        "(missing and not lamp.causes)",
        "lamp_signs_lost",
    ),
    (
        "lamp_lit_on_loss_against_the_pairing",
        "(missing and lamp.lit_on_loss)",
        "missing",
        "lamp_signs_lost",
    ),
    (
        "lit_standing_forgotten",
        "(not judged and lamp.standing == LIT)",
        "(not ignition and lamp.standing == LIT)",
        "lamp_standing",
    ),
    (
        "judged_only_while_running",
        "(lamp.standing == JUDGED or started)",
        "started",
        "lamp_overheat_thresholds",
    ),
    (
        "cause_kept_over_a_loss",
        "not judged or not usable(source) or _ends",
        "not judged or _ends",
        "lamp_cause_forgotten_at_loss",
    ),
    (
        "falling_cause_begins_one_step_low",
        "return source.value <= cause.on\n",
        "return source.value < cause.on\n",
        "lamp_oil_thresholds",
    ),
    (
        "rising_cause_begins_one_step_high",
        "return source.value >= cause.on\n",
        "return source.value > cause.on\n",
        "lamp_overheat_thresholds",
    ),
    (
        "falling_cause_ends_one_step_high",
        "return source.value >= cause.off\n",
        "return source.value > cause.off\n",
        "lamp_oil_thresholds",
    ),
    (
        "rising_cause_ends_one_step_low",
        "return source.value <= cause.off\n",
        "return source.value < cause.off\n",
        "lamp_overheat_thresholds",
    ),
    (
        "lamp_one_control_tick_early",
        "if state.differs > (",
        "if state.differs >= (",
        "lamp_short_dip",
    ),
    (
        "lamp_delays_swapped",
        "(spec.on_delay if wanted else spec.off_delay)",
        "(spec.off_delay if wanted else spec.on_delay)",
        "lamp_malfunction_wish",
    ),
    (
        "lamp_delay_not_started_anew",
        "if wanted == state.lit:\n        state.differs = 0\n",
        "if wanted == state.lit:\n",
        "lamp_short_dip",
    ),
    (
        "lamps_in_their_safe_state_by_the_last_lamp",
        "state.failsafe = state.failsafe or missing",
        "state.failsafe = missing",
        "lamp_warmth_lost",
    ),
)

ENGINE_SPEED_GAUGE = _in(
    "engine_speed_gauge.py",
    (
        "engine_speed_held_one_control_tick_long",
        "state.held < spec.hold",
        "state.held <= spec.hold",
        "dial_held",
    ),
    (
        "engine_speed_hold_not_started_anew",
        "    state.held = 0\n\n    # RATE",
        "\n    # RATE",
        "dial_held",
    ),
    (
        "engine_speed_dial_does_not_rest",
        "spec.on_loss, source.status, real=False",
        "state.shown, source.status, real=False",
        "dial_held",
    ),
    (
        "engine_speed_at_rest_told_as_good",
        "source.status, real=False)",
        "source.status)",
        "dial_held",
    ),
    (
        "dial_rates_swapped",
        "spec.rise if source.value > state.shown else spec.fall",
        "spec.fall if source.value > state.shown else spec.rise",
        "dial_rates",
    ),
    (
        "first_engine_speed_creeps",
        "if not state.known or rate == 0",
        "if rate == 0",
        "dial_rates",
    ),
    (
        "rest_of_the_dial_rate_lost",
        "rate_step(state.remainder, rate",
        "rate_step(0, rate",
        "dial_rates",
    ),
    (
        "dial_rate_by_tick_instead_of_control_tick",
        "rate, spec.control_ms)",
        "rate, 1)",
        "dial_rates",
    ),
    (
        "engine_speed_creeps_after_a_loss",
        "        state.known = False\n",
        "        state.known = state.known\n",
        "dial_held",
    ),
    (
        "dial_overshoots",
        "approach(state.shown, source.value, way)",
        "approach(state.shown, source.value + way, way)",
        "dial_rates",
    ),
)

PULSE_OUTPUT = _in(
    "pulse_output.py",
    (
        "frequency_cut_instead_of_rounded",
        "divide(source.value * spec.a, spec.d)",
        "source.value * spec.a // spec.d",
        "tacho_lowest",
    ),
    (
        "frequency_ratio_upside_down",
        "divide(source.value * spec.a, spec.d)",
        "divide(source.value * spec.d, spec.a)",
        "speed_pulses",
    ),
    (
        "lowest_frequency_excluded",
        "if frequency < spec.lowest:",
        "if frequency <= spec.lowest:",
        "tacho_lowest",
    ),
    (
        "frequency_never_below_the_lowest",
        "        frequency = 0\n",
        "        frequency = spec.lowest\n",
        "tacho_lowest",
    ),
    (
        "highest_frequency_ignored",
        "elif frequency > spec.highest:",
        "elif frequency > 2 * spec.highest:",
        "tacho_highest",
    ),
    (
        "no_pulses_beyond_the_highest_frequency",
        "        frequency = spec.highest\n",
        "        frequency = 0\n",
        "speed_pulses",
    ),
    (
        "pulses_on_loss",
        "spec.on_loss, source.status, real=False",
        "spec.lowest, source.status, real=False",
        "speed_pulses_lost",
    ),
    (
        "pulses_on_loss_told_as_good",
        "source.status, real=False)",
        "source.status)",
        "speed_pulses_lost",
    ),
    (
        "pulses_of_a_held_speed_told_as_valid",
        "store.publish(spec.output, frequency, source.status)",
        "store.publish(spec.output, frequency)",
        "dial_held",
    ),
)

FUEL_LEVEL = _in(
    "fuel_level.py",
    (
        "fuel_held_one_control_tick_long",
        "state.held < spec.hold",
        "state.held <= spec.hold",
        "fuel_lost",
    ),
    (
        "fuel_hold_not_started_anew",
        "    state.held = 0\n\n    # FILTER",
        "\n    # FILTER",
        "fuel_short_gap",
    ),
    (
        "fuel_dial_does_not_rest",
        "spec.on_loss, source.status, real=False",
        "divide(state.fine, FINE), source.status, real=False",
        "fuel_lost",
    ),
    (
        "fuel_at_rest_told_as_good",
        "source.status, real=False)",
        "source.status)",
        "fuel_lost",
    ),
    (
        "fuel_filters_swapped",
        "spec.moving_ms if _moving(spec, store) else spec.standing_ms",
        "spec.standing_ms if _moving(spec, store) else spec.moving_ms",
        "fuel_standing",
    ),
    (
        "moving_one_step_high",
        "speed.value >= spec.moving_above",
        "speed.value > spec.moving_above",
        "fuel_moving_threshold",
    ),
    (
        "unknown_speed_counts_as_standing",
        "return not usable(speed) or speed",
        "return speed",
        "fuel_speed_lost",
    ),
    (
        "fuel_creeps_with_the_ignition_off",
        "or not ignition_is_on(power) or",
        "or",
        "fuel_key_off",
    ),
    (
        "first_fuel_level_creeps",
        "if not state.known or not ignition",
        "if not ignition",
        "fuel_standing",
    ),
    (
        "fuel_creeps_after_a_loss",
        "        state.known = False\n",
        "        state.known = state.known\n",
        "fuel_lost",
    ),
    (
        "fuel_filter_by_tick_instead_of_control_tick",
        "* spec.control_ms, constant",
        ", constant",
        "fuel_moving",
    ),
)

CONSUMPTION_COUNTER = _in(
    "consumption_counter.py",
    (
        "rest_of_the_count_lost",
        "state.rest = total % spec.d",
        "state.rest = 0",
        "fuel_count_rest",
    ),
    (
        "rest_of_the_count_not_added",
        "total = state.rest + source.value",
        "total = source.value",
        "fuel_count_rest",
    ),
    (
        "count_rounded_up_early",
        "(state.count + total // spec.d)",
        "(state.count + (total + spec.d // 2) // spec.d)",
        "fuel_count_rest",
    ),
    (
        "count_goes_round_one_late",
        "% spec.modulus",
        "% (spec.modulus + 1)",
        "fuel_count_wraps",
    ),
    (
        "count_loses_what_goes_beyond",
        "state.count = (state.count + total // spec.d) % spec.modulus",
        (
            "state.count += total // spec.d\n"
            "        state.count = state.count if state.count < spec.modulus else 0"
        ),
        "fuel_count_wrap_uneven",
    ),
    (
        "count_goes_on_without_flow_data",
        "if real and source.value > 0:",
        "if source.value > 0:",
        "fuel_count_lost",
    ),
    (
        "standing_count_told_as_good",
        "real=real",
        "real=True",
        "fuel_count_lost",
    ),
    (
        "loss_of_the_flow_not_told",
        "state.failsafe = lost(source)",
        "state.failsafe = lost(source) and real",
        "fuel_count_lost",
    ),
)

VEHICLE_SPEED = _in(
    "vehicle_speed.py",
    (
        "speed_held_one_control_tick_long",
        "state.held < spec.hold",
        "state.held <= spec.hold",
        "speed_too_few_wheels",
    ),
    (
        "speed_hold_not_started_anew",
        "    state.held = 0\n    state.known = True\n",
        "    state.known = True\n",
        "speed_short_gap",
    ),
    (
        "one_wheel_more_needed",
        "    if len(values) < spec.least:",
        "    if len(values) <= spec.least:",
        "speed_spread",
    ),
    (
        "spread_excluded",
        "values[place - 1] <= band",
        "values[place - 1] < band",
        "speed_spread",
    ),
    (
        "share_of_the_spread_forgotten",
        "divide(value * spec.spread_permille, 1000)",
        "0",
        "speed_spread",
    ),
    (
        "a_wheel_agrees_with_itself",
        "value - values[place - 1]",
        "value - value",
        "speed_fastest_agreed",
    ),
    (
        "slowest_agreed_wheel",
        "range(len(values) - 1, 0, -1)",
        "range(1, len(values))",
        "speed_fastest_agreed",
    ),
    (
        "slowest_wheel_when_none_agree",
        "state.speed = max(values)",
        "state.speed = min(values)",
        "speed_spread",
    ),
    (
        "implausible_one_control_tick_early",
        "state.disagreed > spec.disagree",
        "state.disagreed >= spec.disagree",
        "speed_spread",
    ),
    (
        "disagreement_not_counted_anew",
        "        state.speed = agreed\n        state.disagreed = 0\n",
        "        state.speed = agreed\n",
        "speed_disagree_short",
    ),
    (
        "implausible_speed_told_as_good",
        "IMPLAUSIBLE if state.failsafe else VALID, not state.failsafe",
        "VALID, True",
        "speed_spread",
    ),
    (
        "shown_speed_rounded_down",
        "divide_up(state.speed * spec.a",
        "divide(state.speed * spec.a",
        "speed_lead",
    ),
    (
        "speed_shown_at_standstill",
        " if state.speed > 0 else 0",
        "",
        "speed_lead",
    ),
    (
        "shown_speed_stays_after_the_hold",
        "spec.shown_on_loss, worst",
        "state.speed, worst",
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
