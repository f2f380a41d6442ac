"""One-line mistakes in pedal, cruise buttons, mode selector and analogue inputs, with vectors."""

from tests.broken.harness import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one file: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, file, old, new, f"quarry_truck/{vector}") for name, old, new, vector in rows
    )


PEDAL = _in(
    "functions/accelerator_pedal.py",
    (
        "pedal_takes_the_higher_track",
        "pedal = min(first.value, second.value)",
        "pedal = max(first.value, second.value)",
        "pedal_lower_track_counts",
    ),
    (
        "pedal_tolerance_itself_is_apart",
        "if abs(first - second) > interpolate(",
        "if abs(first - second) >= interpolate(",
        "pedal_tolerance_is_allowed",
    ),
    (
        "pedal_distance_one_sided",
        "if abs(first - second) > interpolate(",
        "if first - second > interpolate(",
        "pedal_apart_first_low",
    ),
    (
        "pedal_tolerance_of_the_other_track",
        "interpolate(spec.tolerance, first)",
        "interpolate(spec.tolerance, second)",
        "work_pedal_tolerance_by_curve",
    ),
    (
        "pedal_disagreement_one_control_tick_late",
        "if state.differs >= spec.disagreement:",
        "if state.differs > spec.disagreement:",
        "pedal_apart_second_low",
    ),
    (
        "pedal_disagreement_adds_up",
        "        state.differs = 0\n        if state.agrees",
        "        if state.agrees",
        "pedal_apart_just_short_enough",
    ),
    (
        "pedal_agreement_one_control_tick_early",
        "if state.agrees >= spec.agreement:",
        "if state.agrees + 1 >= spec.agreement:",
        "pedal_agreement_heals",
    ),
    (
        "pedal_agreement_adds_up",
        "        state.agrees = 0\n        if state.differs",
        "        if state.differs",
        "pedal_agreement_interrupted",
    ),
    (
        "pedal_healed_by_loss",
        "    elif good_1 and good_2:\n        _compare",
        "    elif not good_2:\n        state.apart = False\n    elif good_1:\n        _compare",
        "pedal_apart_and_a_track_lost",
    ),
    (
        "pedal_disagreement_survives_key_off",
        "        state.differs = state.agrees = 0\n        state.apart = False\n",
        "        state.agrees = 0\n",
        "pedal_key_off_forgets_disagreement",
    ),
    (
        "pedal_apart_always_lower",
        "limit = spec.limp_limit if spec.lower_when_apart else 0",
        "limit = spec.limp_limit",
        "pedal_apart_second_low",
    ),
    (
        "pedal_limp_follows_the_lost_track",
        "good = first if good_1 else second",
        "good = second if good_1 else first",
        "pedal_limp_on_second_track",
    ),
    (
        "pedal_limp_without_limit",
        "mode, limit = PedalMode.LIMP, spec.limp_limit",
        "mode = PedalMode.LIMP",
        "pedal_limp_on_second_track",
    ),
    (
        "pedal_remainder_kept_in_the_fall",
        "if not state.slow or request <= state.output:",
        "if not state.slow:",
        "pedal_limp_on_second_track",
    ),
    (
        "pedal_rise_without_remainder",
        "rise, state.remainder = rate_step(state.remainder,",
        "rise, state.remainder = rate_step(0,",
        "pedal_agreement_heals",
    ),
    (
        "pedal_jumps_after_reset",
        "slow: bool = True",
        "slow: bool = False",
        "pedal_reset_in_the_middle",
    ),
    (
        "pedal_jumps_after_loss",
        "        state.slow = True\n    request",
        "        pass\n    request",
        "pedal_supply_lost",
    ),
    (
        "pedal_slow_for_ever",
        "    if mode is PedalMode.NORMAL and request == pedal:\n        state.slow = False\n",
        "",
        "pedal_agreement_heals",
    ),
    (
        "pedal_override_at_the_threshold",
        "pedal > spec.override_above",
        "pedal >= spec.override_above",
        "pedal_brake_override",
    ),
    (
        "pedal_override_ends_at_the_threshold",
        "if pedal < spec.override_below:",
        "if pedal <= spec.override_below:",
        "pedal_brake_override",
    ),
    (
        "pedal_override_ends_with_the_brake",
        "if pedal < spec.override_below:",
        "if not pressed or pedal < spec.override_below:",
        "pedal_brake_override",
    ),
    (
        "pedal_override_one_control_tick_early",
        "if state.both >= spec.override_after:",
        "if state.both + 1 >= spec.override_after:",
        "pedal_brake_override",
    ),
    (
        "pedal_override_time_adds_up",
        "    else:\n        state.both = 0\n",
        "",
        "pedal_override_just_short_enough",
    ),
    (
        "pedal_lost_brake_is_released",
        "return spec.brake_lost_pressed if lost(brake) else brake.value != 0",
        "return brake.value != 0",
        "pedal_brake_data_lost",
    ),
    (
        "pedal_brake_never_received_is_lost",
        "return spec.brake_lost_pressed if lost(brake) else",
        "return spec.brake_lost_pressed if not usable(brake) else",
        "pedal_no_override_in_neither",
    ),
    (
        "pedal_limp_ignores_the_brake",
        "pressed and spec.brake_releases_limp and",
        "pressed and not spec.brake_releases_limp and",
        "work_pedal_brake_releases_limp",
    ),
    (
        "pedal_brake_releases_always",
        "spec.brake_releases_limp and mode is not PedalMode.NORMAL",
        "spec.brake_releases_limp",
        "work_pedal_brake_in_normal",
    ),
    (
        "pedal_with_ignition_off",
        "mode, limit = PedalMode.OFF, 0",
        "mode = PedalMode.OFF",
        "pedal_ignition_off",
    ),
    (
        "pedal_tracks_follow_the_pedal",
        "interpolate(track.points, request)",
        "interpolate(track.points, pedal)",
        "pedal_apart_second_low",
    ),
)

CRUISE = _in(
    "functions/cruise_buttons.py",
    (
        "cruise_button_one_control_tick_early",
        "settled = state.stable >= spec.debounce",
        "settled = state.stable + 1 >= spec.debounce",
        "cruise_bounce_is_no_button",
    ),
    (
        "cruise_button_one_control_tick_late",
        "settled = state.stable >= spec.debounce",
        "settled = state.stable > spec.debounce",
        "cruise_on_set_brake_resume",
    ),
    (
        "cruise_pressed_at_ignition_on_counts",
        "event = NONE if state.ignored else state.button",
        "event = state.button",
        "cruise_pressed_at_ignition_on",
    ),
    (
        "cruise_stuck_one_control_tick_late",
        "state.held >= spec.stuck",
        "state.held > spec.stuck",
        "cruise_stuck_button",
    ),
    (
        "cruise_stuck_for_ever",
        "    if settled and state.button == NONE:\n        state.ignored = False\n    elif",
        "    if",
        "cruise_stuck_button",
    ),
    (
        "cruise_stuck_cancel_ignored",
        "pressed = state.button if not state.ignored or state.button == CANCEL else NONE",
        "pressed = state.button if not state.ignored else NONE",
        "cruise_stuck_cancel_cancels",
    ),
    (
        "cruise_cancel_is_a_button_like_others",
        "        if button == CANCEL:\n            return CANCEL\n",
        "",
        "cruise_stuck_cancel_cancels",
    ),
    (
        "cruise_last_of_two_buttons",
        "return NONE if both else found",
        "return found",
        "cruise_two_buttons",
    ),
    (
        "cruise_brake_ignored",
        "if any(store[index].value != 0 for index in spec.cancels):",
        "if any(store[index].value != 0 for index in spec.cancels[1:]):",
        "cruise_on_set_brake_resume",
    ),
    (
        "cruise_clutch_ignored",
        "if any(store[index].value != 0 for index in spec.cancels):",
        "if any(store[index].value != 0 for index in spec.cancels[:1]):",
        "cruise_cancelled_by_clutch",
    ),
    (
        "cruise_lowest_speed_is_outside",
        "if speed < spec.speed_low or",
        "if speed <= spec.speed_low or",
        "cruise_speed_window",
    ),
    (
        "cruise_without_highest_speed",
        "or speed > spec.speed_high:",
        "or speed > spec.speed_high + 1:",
        "cruise_speed_window",
    ),
    (
        "cruise_set_outside_the_window",
        "if not state.on or cancelled or event == ON_OFF:",
        "if not state.on or (cancelled and event != SET) or event == ON_OFF:",
        "cruise_no_set_outside_the_window",
    ),
    (
        "cruise_loss_ignored",
        "cancelled = pressed == CANCEL or not whole",
        "cancelled = pressed == CANCEL",
        "cruise_gap_on_the_way",
    ),
    (
        "cruise_resume_without_a_speed",
        "elif event == RESUME and state.stored:",
        "elif event == RESUME:",
        "cruise_resume_needs_a_speed",
    ),
    (
        "cruise_speed_kept_when_switched_off",
        "    if not state.on or event == ON_OFF:\n        state.stored = False\n",
        "",
        "cruise_resume_needs_a_speed",
    ),
    (
        "cruise_survives_ignition_off",
        "    if not ignition:\n        state.on = False\n    elif event",
        "    if event",
        "cruise_ignition_off",
    ),
    (
        "cruise_denial_one_control_tick_late",
        "if state.refused >= spec.feedback_after:",
        "if state.refused > spec.feedback_after:",
        "cruise_denied_by_the_engine",
    ),
    (
        "cruise_lost_answer_is_a_denial",
        "if feedback.value != 0 or not usable(feedback):",
        "if feedback.value != 0:",
        "cruise_denied_by_the_engine",
    ),
    (
        "cruise_request_without_cruise",
        "elif state.active and pressed in (SET, RESUME):",
        "elif pressed in (SET, RESUME):",
        "cruise_resume_needs_a_speed",
    ),
)

MODES = _in(
    "functions/mode_selector.py",
    (
        "mode_long_one_control_tick_late",
        "LONG if state.time + 1 >= spec.long else SHORT",
        "LONG if state.time >= spec.long else SHORT",
        "mode_long_press",
    ),
    (
        "mode_long_one_control_tick_early",
        "LONG if state.time + 1 >= spec.long else SHORT",
        "LONG if state.time + 2 >= spec.long else SHORT",
        "mode_short_press",
    ),
    (
        "mode_held_one_control_tick_late",
        "state.time < spec.held",
        "state.time <= spec.held",
        "mode_held_press",
    ),
    (
        "mode_held_and_its_release",
        "        state.done = True\n",
        "",
        "mode_held_press",
    ),
    (
        "mode_stuck_one_control_tick_early",
        "if state.time >= spec.stuck:",
        "if state.time + 1 >= spec.stuck:",
        "mode_stuck_button",
    ),
    (
        "mode_stuck_ignored",
        "    if state.time >= spec.stuck:\n        state.ignored = True\n",
        "",
        "mode_stuck_button",
    ),
    (
        "mode_combination_of_the_last_button",
        "state.pressed |= down",
        "state.pressed = down",
        "mode_combination",
    ),
    (
        "mode_time_from_the_first_button",
        "        state.pressed |= down\n        state.time = 0\n",
        "        state.pressed |= down\n        state.time += 1\n",
        "mode_combination",
    ),
    (
        "mode_previous_does_not_go_round",
        "spec.highest if state.mode <= spec.lowest else state.mode - 1",
        "state.mode - 1",
        "mode_goes_round",
    ),
    (
        "mode_next_beyond_the_highest",
        "spec.lowest if state.mode >= spec.highest else",
        "spec.lowest if state.mode > spec.highest else",
        "mode_goes_round",
    ),
    (
        "mode_pressed_at_return_acts",
        "        state.done = False\n        state.ignored = True\n",
        "        state.done = False\n",
        "mode_button_lost",
    ),
    (
        "mode_kept_on_loss",
        "if state.failsafe and not spec.keep_on_loss:",
        "if state.failsafe and spec.keep_on_loss:",
        "mode_button_lost",
    ),
    (
        "mode_lost_switch_stays_on",
        "if store[switch.quantity].value != 0 and usable(store[switch.quantity]):",
        "if store[switch.quantity].value != 0:",
        "mode_switch_lost",
    ),
    (
        "mode_switch_latches",
        "            mode = switch.mode\n",
        "            mode = state.mode = switch.mode\n",
        "mode_switch_is_momentary",
    ),
    (
        "mode_lost_feedback_shown",
        "shown = feedback.value if usable(feedback) else spec.unconfirmed",
        "shown = feedback.value if usable(feedback) else mode",
        "mode_feedback",
    ),
    (
        "mode_without_permission",
        "return usable(permit) and permit.value != 0",
        "return usable(permit)",
        "mode_needs_permission",
    ),
    (
        "mode_kept_over_the_cycle",
        "(spec.every_cycle and power.new_cycle)",
        "(spec.every_cycle and not power.new_cycle and False)",
        "mode_every_cycle",
    ),
    (
        "mode_of_every_selector_anew",
        "(spec.every_cycle and power.new_cycle)",
        "power.new_cycle",
        "mode_every_cycle",
    ),
)

ANALOGUE = (
    *_in(
        "pins.py",
        (
            "contact_without_its_last_count",
            "if band.low <= counts <= band.high:",
            "if band.low <= counts < band.high:",
            "cruise_stalk_bands",
        ),
        (
            "contact_without_its_first_count",
            "if band.low <= counts <= band.high:",
            "if band.low < counts <= band.high:",
            "cruise_stalk_bands",
        ),
        (
            "lowest_valid_count_is_a_short",
            "if counts < spec.valid[0]:",
            "if counts <= spec.valid[0]:",
            "thermistor_wiring",
        ),
        (
            "highest_valid_count_is_open",
            "if counts > spec.valid[1]:",
            "if counts >= spec.valid[1]:",
            "pedal_wiring_window",
        ),
        (
            "open_and_short_mixed_up",
            "return None, Reading.HIGH",
            "return None, Reading.LOW",
            "thermistor_wiring",
        ),
    ),
    *_in(
        "terminals.py",
        (
            "gap_is_a_broken_wire",
            "Reading.BETWEEN: Status.IMPLAUSIBLE",
            "Reading.BETWEEN: Status.ERROR",
            "cruise_stalk_bands",
        ),
        (
            "wiring_not_told",
            "store.publish(analogue.wiring, reading)",
            "store.publish(analogue.wiring, 0)",
            "thermistor_wiring",
        ),
    ),
)

MISTAKES = (*PEDAL, *CRUISE, *MODES, *ANALOGUE)
