"""Broken copies of fans, pump, air conditioning, starter and torque in C, each with its vector."""

from tests.firmware.mistakes import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one function: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, f"functions/{file}", right, wrong, f"orchard_hauler/{vector}")
        for name, right, wrong, vector in rows
    )


DEMAND = _in(
    "fan_demand.c",
    (
        "fan_floor_never_dropped",
        "state->dropped = 1u;",
        "state->dropped = 0u;",
        "fan_compressor_floor",
    ),
    (
        "fan_pressure_one_step_late",
        "source->value >= pressure->on",
        "source->value > pressure->on",
        "fan_pressure_stage",
    ),
    (
        "fan_pressure_lost_asks_nothing",
        "xb_lost(source) != 0u && may_run != 0u",
        "may_run == 2u",
        "fan_duty_pressure",
    ),
    (
        "fan_over_voltage_beats_every_loss",
        "(spec->inhibit_on_loss != 0u || failsafe == 0u)",
        "(spec->inhibit_on_loss != 0u || failsafe < 2u)",
        "fan_loss_against_over_voltage",
    ),
    (
        "fan_after_run_drains_the_battery",
        "if (hot == 0u || fed == 0u ||",
        "if (hot == 0u || fed == 2u ||",
        "fan_after_run_battery",
    ),
    (
        "fan_after_run_ends_one_step_early",
        "coolant->value > spec->after_run_below",
        "coolant->value > spec->after_run_below + 1",
        "fan_after_run_cooled",
    ),
)

FAN = _in(
    "cooling_fan.c",
    (
        "fan_stage_delay_one_control_tick_long",
        "since_start >= delay",
        "since_start > delay",
        "fan_stage_delay",
    ),
    (
        "fan_stage_delay_not_restarted",
        "since_start = run != 0u ? 0u : since_start;",
        "since_start = run != 0u ? since_start : 0u;",
        "fan_stage_delay",
    ),
    (
        "fan_wishes_not_the_highest",
        "wanted = asked > wanted ? asked : wanted;",
        "wanted = asked < wanted ? asked : wanted;",
        "fan_compressor_floor",
    ),
    (
        "fan_over_voltage_ignored",
        "if (ignition == 0u || inhibited != 0u ||",
        "if (ignition == 0u ||",
        "fan_over_voltage",
    ),
    (
        "fan_after_run_missing",
        "wanted = inhibited != 0u || ignition != 0u ? 0u : after_run;",
        "wanted = after_run > 4u ? after_run : 0u;",
        "fan_after_run_time",
    ),
)

DUTY = _in(
    "cooling_fan_duty.c",
    (
        "duty_not_inverted",
        "spec->inverted != 0u ? spec->full - state->duty",
        "spec->inverted > 1u ? spec->full - state->duty",
        "fan_duty_rises",
    ),
    (
        "duty_soft_start_one_control_tick_long",
        "state->soft_left = spec->soft_start;",
        "state->soft_left = spec->soft_start + 1u;",
        "fan_duty_rises",
    ),
    (
        "duty_starts_below_the_lowest",
        "wanted >= spec->minimum && wanted > 0",
        "wanted > 0",
        "fan_duty_starts_at_minimum",
    ),
    (
        "duty_rates_swapped",
        "target > state->duty ? spec->rise : spec->fall",
        "target > state->duty ? spec->fall : spec->rise",
        "fan_duty_rises",
    ),
    (
        "duty_minimum_times_swapped",
        "(run != 0u ? spec->min_off : spec->min_on)",
        "(run != 0u ? spec->min_on : spec->min_off)",
        "fan_duty_minimum_times",
    ),
)

PUMP = _in(
    "fuel_pump.c",
    (
        "crash_latch_for_ever",
        "if (power->new_cycle != 0u) {",
        "if (power->new_cycle > 1u) {",
        "pump_crash",
    ),
    (
        "crash_not_latched",
        "return run != 0u && guard->crashed == 0u;",
        "return run != 0u && xb_is_on(store, spec->crash) == 0u;",
        "pump_crash",
    ),
    (
        "pump_runs_on_without_enable",
        "guard->loss_left > 0u && xb_is_on(store, spec->loss_enable) != 0u",
        "guard->loss_left > 0u",
        "pump_loss_enable_withdrawn",
    ),
    (
        "pump_runs_on_at_rest",
        "state->run_left > 0u ? spec->loss_run : 0u",
        "spec->loss_run",
        "pump_loss_at_rest",
    ),
    (
        "pump_stands_cranking",
        "if (spec->runs_cranking != 0u &&",
        "if (spec->runs_cranking > 1u &&",
        "pump_cranking",
    ),
)

COMMAND = _in(
    "pump_command.c",
    (
        "pump_level_one_step_late",
        "demand->value >= spec->levels",
        "demand->value > spec->levels",
        "pump_levels",
    ),
    (
        "pump_level_left_one_step_early",
        "demand->value < spec->levels",
        "demand->value <= spec->levels",
        "pump_levels",
    ),
    (
        "pump_level_of_lost_demand_lowest",
        "state->level = (uint8_t)spec->level_count;",
        "state->level = 0u;",
        "pump_levels",
    ),
    (
        "pump_answer_one_control_tick_early",
        "state->bad_for > spec->answer_time",
        "state->bad_for >= spec->answer_time",
        "pump_driver_answers",
    ),
)

COOLER = _in(
    "air_conditioning.c",
    (
        "cooler_running_one_control_tick_short",
        "state->running_for <= spec->running_for",
        "state->running_for < spec->running_for",
        "cooler_starts",
    ),
    (
        "cooler_delay_one_control_tick_short",
        "state->asked_for > spec->engage_delay",
        "state->asked_for >= spec->engage_delay",
        "cooler_delay_after_long_off",
    ),
    ("cooler_min_off_not_restarted", "        state->since_off = 0u;\n", "", "cooler_min_off"),
    (
        "cooler_engage_window_keeps",
        "given != 0u ? window->release_low",
        "given > 1u ? window->release_low",
        "cooler_speed_low",
    ),
    (
        "cooler_on_after_loss",
        "xb_usable(source) != 0u && low <=",
        "low <=",
        "cooler_one_value_not_available",
    ),
    (
        "cooler_pedal_without_least_cut",
        "state->cut_left = spec->pedal_cut;",
        "state->cut_left = 0u;",
        "cooler_full_pedal",
    ),
)

STARTER = _in(
    "starter.c",
    (
        "starter_follows_the_level",
        "edge = pressed != 0u && state->armed != 0u;",
        "edge = pressed;",
        "starter_held",
    ),
    (
        "starter_one_control_tick_long",
        "state->crank_time >= spec->max_crank",
        "state->crank_time > spec->max_crank",
        "starter_limit",
    ),
    (
        "starter_any_means_all",
        "any = any != 0u || xb_is_on",
        "any = any != 0u && xb_is_on",
        "starter_interlocks",
    ),
    (
        "starter_cranks_without_speed",
        "xb_usable(speed) == 0u || speed->value >= spec->turning_above",
        "speed->value >= spec->turning_above",
        "starter_speed_never_received",
    ),
    (
        "starter_rest_missing",
        "} else if (state->rest_left > 0u) {",
        "} else if (state->rest_left == UINT32_MAX) {",
        "starter_limit",
    ),
    (
        "starter_goes_on_without_permission",
        "    if (permitted == 0u) {\n        return",
        "    if (permitted > 1u) {\n        return",
        "starter_interlocks",
    ),
)

TORQUE = _in(
    "torque_request.c",
    (
        "torque_kept_on_loss",
        "xb_usable(request) != 0u && xb_usable(active) != 0u",
        "xb_usable(active) != 0u",
        "torque_not_available",
    ),
    (
        "torque_tolerance_forgotten",
        "actual->value <= wanted + spec->tolerance",
        "actual->value <= wanted",
        "torque_reduction",
    ),
    (
        "torque_friction_sign",
        "possible = -wanted <=",
        "possible = wanted <=",
        "torque_below_friction",
    ),
    (
        "torque_settles_one_control_tick_long",
        "state->unfulfilled_for >= spec->settle",
        "state->unfulfilled_for > spec->settle",
        "torque_reduction",
    ),
    (
        "torque_fulfilled_without_data",
        "if (xb_usable(actual) == 0u) {",
        "if (xb_usable(actual) > 1u) {",
        "torque_engine_lost",
    ),
)

RUNNING = _in(
    "engine_running.c",
    (
        "running_one_step_late",
        "speed->value >= spec->running_above",
        "speed->value > spec->running_above",
        "running_told",
    ),
    (
        "running_delay_one_control_tick_long",
        "told->differs >= delay",
        "told->differs > delay",
        "running_told",
    ),
    (
        "running_delays_swapped",
        "state->turning != 0u ? listener->on_delay : listener->off_delay",
        "state->turning == 0u ? listener->on_delay : listener->off_delay",
        "running_told",
    ),
    (
        "running_loss_told_as_standing",
        "told->told = listener->on_loss != (uint8_t)XB_TOLD_NOT_RUNNING;",
        "told->told = 0u;",
        "running_speed_lost",
    ),
)

REQUESTS = (
    Mistake(
        "fan_first_request_wins",
        "functions/cooling_fan.c",
        "            wanted = spec->requests[i].stage;\n",
        "            wanted = spec->requests[i].stage;\n            break;\n",
        "test_stand/fan_requests_apart",
    ),
    Mistake(
        "fan_lost_request_asks",
        "functions/cooling_fan.c",
        "other->value != 0 && xb_usable(other) != 0u",
        "other->value != 0",
        "test_stand/fan_requests_apart",
    ),
    Mistake(
        "fan_beyond_loss_stage_at_once",
        "functions/cooling_fan.c",
        "i + 1u <= forced",
        "i <= forced",
        "test_stand/fan_beyond_loss_stage",
    ),
)

MISTAKES = (*DEMAND, *FAN, *REQUESTS, *DUTY, *PUMP, *COMMAND, *COOLER, *STARTER, *TORQUE, *RUNNING)
