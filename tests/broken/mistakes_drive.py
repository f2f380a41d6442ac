"""One-line mistakes in fans, pump, air conditioning, starter and torque, each with its vector."""

from tests.broken.harness import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one function: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, f"functions/{file}", old, new, f"orchard_hauler/{vector}")
        for name, old, new, vector in rows
    )


DEMAND = _in(
    "fan_demand.py",
    ("fan_floor_never_dropped", "state.dropped = True", "pass", "fan_compressor_floor"),
    (
        "fan_floor_dropped_one_step_late",
        "speed.value >= spec.drop_above",
        "speed.value > spec.drop_above",
        "fan_compressor_floor",
    ),
    (
        "fan_floor_restored_one_step_early",
        "speed.value <= spec.restore_below",
        "speed.value <= spec.restore_below + 1",
        "fan_compressor_floor",
    ),
    (
        "fan_floor_dropped_without_speed",
        "not usable(speed) or speed.value <= spec.restore_below",
        "speed.value <= spec.restore_below",
        "fan_floor_speed_not_available",
    ),
    (
        "fan_pressure_one_step_late",
        "source.value >= pressure.on",
        "source.value > pressure.on",
        "fan_pressure_stage",
    ),
    (
        "fan_pressure_off_one_step_early",
        "source.value <= pressure.off",
        "source.value <= pressure.off + 1",
        "fan_pressure_stage",
    ),
    (
        "fan_pressure_lost_asks_nothing",
        "assumed = lost(source) and",
        "assumed = False and",
        "fan_duty_pressure",
    ),
    (
        "fan_over_voltage_one_step_late",
        "supply >= spec.inhibit_above",
        "supply > spec.inhibit_above",
        "fan_over_voltage",
    ),
    (
        "fan_over_voltage_ends_early",
        "supply <= spec.inhibit_below",
        "supply <= spec.inhibit_below + 1",
        "fan_over_voltage",
    ),
    (
        "fan_over_voltage_beats_every_loss",
        "state.inhibited and (spec.inhibit_on_loss or not failsafe)",
        "state.inhibited",
        "fan_loss_against_over_voltage",
    ),
    (
        "fan_after_run_ends_one_step_early",
        "coolant.value > spec.after_run_below",
        "coolant.value > spec.after_run_below + 1",
        "fan_after_run_cooled",
    ),
    (
        "fan_after_run_begins_one_step_low",
        "coolant.value >= spec.after_run_above",
        "coolant.value >= spec.after_run_above - 1",
        "fan_after_run_not_hot",
    ),
    (
        "fan_after_run_drains_the_battery",
        "if not hot or not fed or power.mode",
        "if not hot or power.mode",
        "fan_after_run_battery",
    ),
    (
        "fan_after_run_one_control_tick_long",
        "state.after_left = spec.after_run\n",
        "state.after_left = spec.after_run + 1\n",
        "fan_after_run_time",
    ),
    (
        "fan_after_run_begins_again",
        "        state.after_left = 0\n        state.after_running = False",
        "        state.after_running = False",
        "fan_after_run_cooled",
    ),
)

FAN = _in(
    "cooling_fan.py",
    ("fan_stages_start_together", "since_start < delay", "False", "fan_stage_delay"),
    (
        "fan_stage_delay_one_control_tick_long",
        "since_start < delay",
        "since_start <= delay",
        "fan_stage_delay",
    ),
    (
        "fan_stage_delay_forgotten_in_safe_state",
        "not (run and since_start < delay)",
        "(at_once or not (run and since_start < delay))",
        "fan_stage_delay_on_loss",
    ),
    (
        "fan_over_voltage_waits_for_minimum_time",
        "if not ignition or inhibited or power.mode == CRANKING:\n        forced = wanted",
        (
            "if inhibited:\n        wanted = 0\n"
            "    elif not ignition or power.mode == CRANKING:\n        forced = wanted"
        ),
        "fan_over_voltage_at_once",
    ),
    (
        "fan_after_run_keeps_all_stages",
        "forced = wanted = 0 if inhibited or ignition else after_run",
        "forced = 0\n        wanted = 0 if inhibited or ignition else after_run and wanted",
        "fan_after_run_reset",
    ),
    (
        "fan_runs_cranking_with_demand",
        "not ignition or inhibited or power.mode == CRANKING",
        "not ignition or inhibited",
        "fan_off_while_cranking",
    ),
    (
        "fan_waits_in_cranking_for_minimum_time",
        "at_once = forced is not None and (not run or place < forced)",
        "at_once = forced is not None and run and place < forced",
        "fan_off_while_cranking",
    ),
    (
        "fan_wishes_not_the_highest",
        "wanted = max(wanted, fan_demand.ask(spec.demand, state.demand, store, ignition))",
        "fan_demand.ask(spec.demand, state.demand, store, ignition)",
        "fan_compressor_floor",
    ),
)

DUTY = _in(
    "cooling_fan_duty.py",
    (
        "duty_not_inverted",
        "spec.full - state.duty if spec.inverted",
        "state.duty if True",
        "fan_duty_rises",
    ),
    (
        "duty_starts_below_the_lowest",
        "wanted >= spec.minimum and wanted > 0",
        "wanted > 0",
        "fan_duty_starts_at_minimum",
    ),
    (
        "duty_starts_one_step_above_the_lowest",
        "wanted >= spec.minimum and wanted > 0",
        "wanted > spec.minimum and wanted > 0",
        "fan_duty_starts_at_minimum",
    ),
    (
        "duty_falls_below_the_lowest",
        "target = max(wanted, spec.minimum)",
        "target = wanted",
        "fan_duty_falls",
    ),
    (
        "duty_soft_start_missing",
        "state.soft_left = spec.soft_start",
        "state.soft_left = 0",
        "fan_duty_rises",
    ),
    (
        "duty_soft_start_one_control_tick_long",
        "state.soft_left = spec.soft_start",
        "state.soft_left = spec.soft_start + 1",
        "fan_duty_rises",
    ),
    (
        "duty_rates_swapped",
        "spec.rise if target > state.duty",
        "spec.rise if target < state.duty",
        "fan_duty_rises",
    ),
    (
        "duty_jumps",
        "if rate == 0 or target == state.duty:",
        "if rate or target == state.duty:",
        "fan_duty_rises",
    ),
    (
        "duty_minimum_times_swapped",
        "(spec.min_off if run else spec.min_on)",
        "(spec.min_on if run else spec.min_off)",
        "fan_duty_minimum_times",
    ),
    (
        "duty_wish_not_followed",
        "wanted = max(wanted, min(store[spec.follow].value, spec.full))",
        "pass",
        "fan_duty_followed",
    ),
    (
        "duty_stands_on_loss",
        "wanted = max(wanted, spec.on_loss)",
        "wanted = wanted",
        "fan_duty_on_loss",
    ),
    (
        "duty_runs_cranking",
        "not ignition or inhibited or power.mode == CRANKING",
        "not ignition or inhibited",
        "fan_off_while_cranking",
    ),
)

PUMP = _in(
    "fuel_pump.py",
    ("crash_not_latched", "        guard.crashed = True\n", "        run = False\n", "pump_crash"),
    (
        "crash_cleared_by_ignition",
        "if power.new_cycle:",
        "if power.new_cycle or state.prime_left > 0 or not state.primed:",
        "pump_crash_survives_reset",
    ),
    (
        "crash_latch_not_kept",
        'Field("crashed", Width.U8, Overflow.BOUNDED, kept=True)',
        'Field("crashed", Width.U8, Overflow.BOUNDED)',
        "pump_crash_survives_reset",
    ),
    (
        "crash_latch_for_ever",
        "        guard.crashed = False\n",
        "        pass\n",
        "pump_crash",
    ),
    (
        "crash_cleared_after_it_is_seen",
        (
            "if power.new_cycle:\n        guard.crashed = False\n"
            "    if spec.crash != NO_QUANTITY and is_on(store[spec.crash]):\n"
            "        guard.crashed = True\n"
        ),
        (
            "if spec.crash != NO_QUANTITY and is_on(store[spec.crash]):\n"
            "        guard.crashed = True\n"
            "    if power.new_cycle:\n        guard.crashed = False\n"
        ),
        "pump_crash_one_tick_with_the_cycle",
    ),
    (
        "pump_runs_on_without_enable",
        "elif guard.loss_left > 0 and is_on(store[spec.loss_enable]):",
        "elif guard.loss_left > 0:",
        "pump_loss_enable_withdrawn",
    ),
    (
        "pump_runs_on_for_ever",
        "            guard.loss_left -= 1\n",
        "            pass\n",
        "pump_runs_on_after_loss",
    ),
    (
        "pump_runs_on_at_rest",
        "spec.loss_run if state.run_left > 0 else 0",
        "spec.loss_run",
        "pump_loss_at_rest",
    ),
    (
        "pump_enable_revives",
        "            guard.loss_left = 0\n",
        "            pass\n",
        "pump_loss_enable_withdrawn",
    ),
    (
        "pump_stands_cranking",
        "if spec.runs_cranking and power.mode == CRANKING",
        "if spec.runs_cranking and power.mode != power.mode",
        "pump_cranking",
    ),
    (
        "pump_primes_while_cranking",
        "state.prime_left > 0 and state.run_left == 0 and power.mode != CRANKING",
        "state.run_left == 0",
        "pump_cranking",
    ),
)

COMMAND = _in(
    "pump_command.py",
    (
        "pump_off_command_is_base",
        "command = spec.off",
        "command = spec.base",
        "pump_command_follows",
    ),
    (
        "pump_prime_command_is_base",
        "command = spec.prime",
        "command = spec.base",
        "pump_command_follows",
    ),
    (
        "pump_level_one_step_late",
        "demand.value >= spec.levels[state.level].above",
        "demand.value > spec.levels[state.level].above",
        "pump_levels",
    ),
    (
        "pump_level_left_one_step_early",
        "demand.value < spec.levels[state.level - 1].leave_below",
        "demand.value <= spec.levels[state.level - 1].leave_below",
        "pump_levels",
    ),
    (
        "pump_level_of_lost_demand_lowest",
        "state.level = len(spec.levels)",
        "state.level = 0",
        "pump_levels",
    ),
    (
        "pump_answer_one_control_tick_early",
        "state.bad_for > spec.answer_time",
        "state.bad_for >= spec.answer_time",
        "pump_driver_answers",
    ),
    (
        "pump_answer_band_low",
        "spec.answer_low <= answer.value",
        "spec.answer_low < answer.value",
        "pump_driver_answers",
    ),
    (
        "pump_answer_band_high",
        "answer.value <= spec.answer_high",
        "answer.value < spec.answer_high",
        "pump_driver_answers",
    ),
    (
        "pump_answer_wire_ignored",
        "good = usable(answer) and",
        "good = not usable(answer) or",
        "pump_driver_answers",
    ),
)

COOLER = _in(
    "air_conditioning.py",
    (
        "cooler_running_one_control_tick_short",
        "state.running_for <= spec.running_for",
        "state.running_for < spec.running_for",
        "cooler_starts",
    ),
    (
        "cooler_running_time_not_anew",
        "if power.mode == RUNNING else 0",
        "if power.mode == RUNNING else state.running_for",
        "cooler_engine_stalls",
    ),
    (
        "cooler_delay_one_control_tick_short",
        "state.asked_for > spec.engage_delay",
        "state.asked_for >= spec.engage_delay",
        "cooler_delay_after_long_off",
    ),
    (
        "cooler_min_off_one_control_tick_long",
        "state.since_off >= spec.min_off",
        "state.since_off > spec.min_off",
        "cooler_min_off",
    ),
    (
        "cooler_min_off_not_after_reset",
        "    since_off: int = 0\n",
        "    since_off: int = UINT32_MAX\n",
        "cooler_reset",
    ),
    (
        "cooler_min_off_not_restarted",
        "        state.since_off = 0\n",
        "        pass\n",
        "cooler_min_off",
    ),
    (
        "cooler_engage_window_keeps",
        "low, high = window.release_low, window.release_high",
        "low, high = window.engage_low, window.engage_high",
        "cooler_speed_low",
    ),
    (
        "cooler_window_low_end",
        "low <= source.value <= high",
        "low < source.value <= high",
        "cooler_pressure_low",
    ),
    (
        "cooler_window_high_end",
        "low <= source.value <= high",
        "low <= source.value < high",
        "cooler_coolant_high",
    ),
    (
        "cooler_on_after_loss",
        "if usable(source) and low",
        "if low",
        "cooler_one_value_not_available",
    ),
    (
        "cooler_last_refusal_told",
        "range(len(spec.windows) - 1, -1, -1)",
        "range(len(spec.windows))",
        "cooler_two_refusals",
    ),
    ("cooler_permit_ignored", "not is_on(store[spec.permit])", "False", "cooler_not_permitted"),
    (
        "cooler_pedal_one_step_late",
        "pedal.value >= spec.pedal_full",
        "pedal.value > spec.pedal_full",
        "cooler_full_pedal",
    ),
    (
        "cooler_pedal_back_one_step_late",
        "pedal.value <= spec.pedal_below",
        "pedal.value < spec.pedal_below",
        "cooler_full_pedal",
    ),
    (
        "cooler_pedal_without_least_cut",
        "state.cut_left = spec.pedal_cut",
        "state.cut_left = 0",
        "cooler_full_pedal",
    ),
    ("cooler_request_ignored", "if not is_on(store[spec.request]):", "if False:", "cooler_min_off"),
)

STARTER = _in(
    "starter.py",
    (
        "starter_armed_at_power_on",
        "    armed: bool = False\n",
        "    armed: bool = True\n",
        "starter_pressed_at_power_on",
    ),
    (
        "starter_follows_the_level",
        "edge = pressed and state.armed",
        "edge = pressed",
        "starter_held",
    ),
    (
        "starter_one_control_tick_long",
        "state.crank_time >= spec.max_crank",
        "state.crank_time > spec.max_crank",
        "starter_limit",
    ),
    (
        "starter_releases_one_step_late",
        "speed.value >= spec.release_above",
        "speed.value > spec.release_above",
        "starter_releases",
    ),
    (
        "starter_cranks_a_turning_engine",
        "speed.value >= spec.turning_above",
        "speed.value > spec.turning_above",
        "starter_turning",
    ),
    (
        "starter_cranks_without_speed",
        "not usable(speed) or speed.value >= spec.turning_above",
        "speed.value >= spec.turning_above",
        "starter_speed_never_received",
    ),
    (
        "starter_goes_on_without_speed",
        "    if not usable(speed):\n        return SPEED_LOST\n",
        "",
        "starter_speed_lost",
    ),
    (
        "starter_goes_on_without_permission",
        "    if not permitted:\n        return PERMISSION_WITHDRAWN\n",
        "",
        "starter_interlocks",
    ),
    (
        "starter_without_brake",
        "all(is_on(store[index]) for index in spec.all_of)",
        "True",
        "starter_interlocks",
    ),
    (
        "starter_without_clutch_or_neutral",
        "if spec.any_of and not any(",
        "if spec.any_of and not spec.any_of and not any(",
        "starter_interlocks",
    ),
    (
        "starter_any_means_all",
        "not any(is_on(store[index]) for index in spec.any_of)",
        "not all(is_on(store[index]) for index in spec.any_of)",
        "starter_interlocks",
    ),
    (
        "starter_rest_missing",
        "elif state.rest_left > 0:",
        "elif state.rest_left > 10**9:",
        "starter_limit",
    ),
    (
        "starter_rests_swapped",
        "spec.limit_rest if state.outcome == LIMIT_REACHED",
        "spec.limit_rest if state.outcome != LIMIT_REACHED",
        "starter_limit",
    ),
    (
        "starter_crank_time_not_anew",
        "            state.crank_time = 0\n",
        "            pass\n",
        "starter_limit",
    ),
    (
        "starter_without_ignition",
        "permitted = ignition and all",
        "permitted = all",
        "starter_without_ignition",
    ),
)

TORQUE = _in(
    "torque_request.py",
    (
        "torque_kept_on_loss",
        "asked = ignition and usable(request) and usable(active)",
        "asked = ignition and usable(active)",
        "torque_not_available",
    ),
    (
        "torque_active_kept_on_loss",
        "usable(request) and usable(active) and",
        "usable(request) and",
        "torque_active_not_available",
    ),
    ("torque_carried_inactive", " and active.value != 0", "", "torque_reduction"),
    ("torque_carried_without_ignition", "asked = ignition and", "asked =", "torque_ignition_off"),
    (
        "torque_settles_one_control_tick_long",
        "state.unfulfilled_for >= spec.settle",
        "state.unfulfilled_for > spec.settle",
        "torque_reduction",
    ),
    (
        "torque_tolerance_forgotten",
        "actual.value <= wanted + spec.tolerance",
        "actual.value <= wanted",
        "torque_reduction",
    ),
    (
        "torque_tolerance_one_step_wide",
        "actual.value >= wanted - spec.tolerance",
        "actual.value > wanted - spec.tolerance",
        "torque_increase",
    ),
    (
        "torque_friction_sign",
        "possible = -wanted <=",
        "possible = wanted <=",
        "torque_below_friction",
    ),
    (
        "torque_maximum_one_step",
        "possible = wanted <= _limit(store, spec.maximum, wanted)",
        "possible = wanted < _limit(store, spec.maximum, wanted)",
        "torque_increase",
    ),
    (
        "torque_lost_limit_refuses",
        "index == NO_QUANTITY or not usable(store[index])",
        "index == NO_QUANTITY",
        "torque_limits_lost",
    ),
    (
        "torque_fulfilled_without_data",
        "    if not usable(actual):\n        return NOT_KNOWN\n",
        "",
        "torque_engine_lost",
    ),
    (
        "torque_not_fulfilled_forgets",
        "answer in (BEING_FULFILLED, NOT_FULFILLED)",
        "answer == BEING_FULFILLED",
        "torque_reduction",
    ),
)

RUNNING = _in(
    "engine_running.py",
    (
        "running_one_step_late",
        "speed.value >= spec.running_above",
        "speed.value > spec.running_above",
        "running_told",
    ),
    (
        "running_ends_one_step_early",
        "speed.value < spec.running_below",
        "speed.value <= spec.running_below",
        "running_told",
    ),
    (
        "running_delays_swapped",
        "(listener.on_delay if state.turning",
        "(listener.on_delay if not state.turning",
        "running_told",
    ),
    (
        "running_delay_one_control_tick_long",
        "told.differs >= (",
        "told.differs > (",
        "running_told",
    ),
    (
        "running_delay_goes_on_over_a_dip",
        "        elif told.told == state.turning:\n            told.differs = 0\n",
        "        elif told.told == state.turning:\n            pass\n",
        "running_short_dip",
    ),
    (
        "running_without_ignition",
        "if not ignition or not usable(speed)",
        "if not usable(speed)",
        "running_ignition_off",
    ),
    (
        "running_loss_told_as_standing",
        "told.told = listener.on_loss != 0",
        "told.told = False",
        "running_speed_lost",
    ),
    ("running_last_forgotten", "if listener.on_loss != LAST:", "if True:", "running_lost_at_rest"),
    (
        "running_loss_ignored",
        "        if state.failsafe:\n",
        "        if not ignition and state.failsafe:\n",
        "running_speed_lost",
    ),
)

REQUESTS = (
    Mistake(
        "fan_first_request_wins",
        "functions/cooling_fan.py",
        "            wanted = max(wanted, request.stage)\n",
        "            wanted = max(wanted, request.stage)\n            break\n",
        "test_stand/fan_requests_apart",
    ),
    Mistake(
        "fan_lost_request_asks",
        "functions/cooling_fan.py",
        "if other.value != 0 and usable(other):",
        "if other.value != 0:",
        "test_stand/fan_requests_apart",
    ),
    Mistake(
        "fan_beyond_loss_stage_at_once",
        "functions/cooling_fan.py",
        "place < forced",
        "place < forced + 1",
        "test_stand/fan_beyond_loss_stage",
    ),
)

MISTAKES = (*DEMAND, *FAN, *REQUESTS, *DUTY, *PUMP, *COMMAND, *COOLER, *STARTER, *TORQUE, *RUNNING)
