"""One-line mistakes in bus states, power modes and sleep of the reference."""

from tests.broken.harness import Mistake

MISTAKES = (
    # BUS STATES (rule 14)
    Mistake(
        "attempt_one_tick_late",
        "buses.py",
        "    if state.wait > 0:\n        return BusCommand.LISTEN\n",
        "    if state.wait >= 0:\n        return BusCommand.LISTEN\n",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "one_quick_attempt_too_many",
        "buses.py",
        "    state.attempts = min(state.attempts + 1, UINT16_MAX)\n"
        "    state.wait = spec.quick if state.attempts < spec.quick_attempts else spec.slow\n",
        "    state.wait = spec.quick if state.attempts < spec.quick_attempts else spec.slow\n"
        "    state.attempts = min(state.attempts + 1, UINT16_MAX)\n",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "recovery_renews_the_quick_attempts",
        "buses.py",
        "    state.wait = 0\n    state.unacknowledged = state.errors = 0\n",
        "    state.wait = state.attempts = 0\n    state.unacknowledged = state.errors = 0\n",
        "long_nights/bus_off_again_and_again",
    ),
    Mistake(
        "a_frame_heard_proves_nothing",
        "buses.py",
        "    if heard or given.acknowledged:\n",
        "    if given.acknowledged:\n",
        "long_nights/bus_off_again_and_again",
    ),
    Mistake(
        "closed_one_unacknowledged_frame_later",
        "buses.py",
        "state.unacknowledged >= spec.no_acknowledge",
        "state.unacknowledged > spec.no_acknowledge",
        "long_nights/nobody_acknowledges",
    ),
    Mistake(
        "a_good_frame_does_not_open",
        "buses.py",
        "(state.reason == BusEvent.BUS_OFF or heard)",
        "(state.reason == BusEvent.BUS_OFF)",
        "long_nights/nobody_acknowledges",
    ),
    Mistake(
        "listens_one_error_frame_later",
        "buses.py",
        "state.errors >= spec.wrong_rate",
        "state.errors > spec.wrong_rate",
        "long_nights/wrong_bit_rate",
    ),
    Mistake(
        "sends_again_after_a_time_at_a_wrong_bit_rate",
        "buses.py",
        "    if heard or (state.wait == 0 and state.reason == NO_REASON):\n",
        "    if heard or state.wait == 0:\n",
        "long_nights/wrong_bit_rate",
    ),
    Mistake(
        "does_not_listen_first",
        "buses.py",
        "state.mode = LISTENING if spec.listen_first else OPEN",
        "state.mode = LISTENING if spec.slow < 0 else OPEN",
        "long_nights/listens_first",
    ),
    Mistake(
        "listens_though_a_good_frame_came",
        "buses.py",
        "    if heard or (state.wait == 0",
        "    if (heard and state.reason != NO_REASON) or (state.wait == 0",
        "long_nights/listens_first",
    ),
    Mistake(
        "flood_cut_off_one_frame_late",
        "buses.py",
        "if state.taken >= spec.flood:",
        "if state.taken > spec.flood:",
        "long_nights/flood_and_second_sender",
    ),
    Mistake(
        "flood_is_never_over",
        "buses.py",
        "    state.heard = False\n    state.taken = 0\n",
        "    state.heard = False\n",
        "long_nights/flood_and_second_sender",
    ),
    Mistake(
        "second_sender_is_no_event",
        "intake.py",
        "            self.common.lines[frame.bus].seen |= 1 << BusEvent.SECOND_SENDER\n",
        "",
        "long_nights/flood_and_second_sender",
    ),
    Mistake(
        "other_bus_is_closed_too",
        "interface.py",
        "return self.commands[bus] == BusCommand.NORMAL and not self.quiet",
        "return self.commands == [BusCommand.NORMAL] * 2 and not self.quiet",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "routed_frame_leaves_a_closed_bus",
        "sending.py",
        "if self.common.commands[frame.bus] == BusCommand.NORMAL:",
        "if self.common.commands[frame.bus] != BusCommand.SLEEP:",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "routed_frame_waits_for_the_recovery",
        "sending.py",
        "                route.waiting.clear()\n",
        "                if self.common.commands[1] == BusCommand.NORMAL:\n"
        "                    route.waiting.clear()\n",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "change_during_the_closure_is_forgotten",
        "sending.py",
        "            frames[spec.key.bus].append(transmission.hand_over(spec, slot, now))\n",
        "            frames[spec.key.bus].append(transmission.hand_over(spec, slot, now))\n"
        "        elif not self.common.may_send(spec.key.bus):\n"
        "            self._pack(index)\n"
        "            slot.last = slot.payload\n",
        "long_nights/change_while_closed",
    ),
    Mistake(
        "bus_event_lasts_for_ever",
        "bus_watch.py",
        "            line.seen = 0\n",
        "            line.seen &= 0x7F\n",
        "long_nights/flood_and_second_sender",
    ),
    # POWER AND SLEEP (rule 14)
    Mistake(
        "asleep_one_control_tick_late",
        "power.py",
        "if state.silent >= spec.after:",
        "if state.silent > spec.after:",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "own_messages_one_control_tick_longer",
        "power.py",
        "state.quiet = state.off > spec.quiet_after",
        "state.quiet = state.off > spec.quiet_after + 1",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "never_quiet_while_others_talk",
        "power.py",
        "state.quiet = state.off > spec.quiet_after",
        "state.quiet = state.silent > spec.quiet_after",
        "long_nights/traffic_keeps_awake",
    ),
    Mistake(
        "any_bus_wakes",
        "power.py",
        "waking = heard & spec.wake_buses",
        "waking = heard",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "stuck_door_keeps_awake",
        "power.py",
        "edge = pressed and not state.pressed",
        "edge = pressed",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "traffic_does_not_keep_awake",
        "power.py",
        "state.silent = 0 if heard or edge else",
        "state.silent = 0 if edge else",
        "long_nights/traffic_keeps_awake",
    ),
    Mistake(
        "woken_module_does_not_listen_first",
        "bus_watch.py",
        "            buses.start(self.spec.buses[bus], lines[bus])\n",
        "",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "power_held_in_sleep",
        "power.py",
        "return state.mode not in (OFF, ASLEEP)",
        "return state.mode != OFF",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "hold_dropped_by_a_brown_out",
        "power.py",
        "state.mode = AFTER_RUN if held else OFF",
        "state.mode = OFF",
        "long_nights/brown_out_while_cranking",
    ),
    Mistake(
        "power_on_holds_as_any_reset",
        "power.py",
        "    elif not power_on:\n",
        "    elif state.mode == OFF:\n",
        "long_nights/after_run_survives_watchdog",
    ),
    Mistake(
        "after_run_begins_anew_at_a_reset",
        "power.py",
        "        state.mode = AFTER_RUN if held else OFF\n",
        "        state.mode = AFTER_RUN if held else OFF\n        state.off_time = 0\n",
        "long_nights/after_run_survives_watchdog",
    ),
)
