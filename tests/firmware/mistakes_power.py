"""Broken copies of the C core in bus states, power modes and sleep."""

from tests.firmware.mistakes import Mistake

MISTAKES = (
    Mistake(
        "attempt_one_tick_late",
        "buses.c",
        "    if (state->wait > 0u) {\n        return XB_COMMAND_LISTEN;\n",
        "    if (state->wait + 1u > 0u) {\n        return XB_COMMAND_LISTEN;\n",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "slow_attempts_stay_quick",
        "buses.c",
        "state->attempts < spec->quick_attempts ? spec->quick : spec->slow",
        "state->attempts != spec->quick_attempts ? spec->quick : spec->slow",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "recovery_renews_the_quick_attempts",
        "buses.c",
        "    state->unacknowledged = 0u;\n    state->errors = 0u;\n}\n\n/* Close",
        "    state->attempts = 0u;\n    state->unacknowledged = 0u;\n"
        "    state->errors = 0u;\n}\n\n/* Close",
        "long_nights/bus_off_again_and_again",
    ),
    Mistake(
        "closed_one_unacknowledged_frame_later",
        "buses.c",
        "state->unacknowledged >= spec->no_acknowledge",
        "state->unacknowledged > spec->no_acknowledge",
        "long_nights/nobody_acknowledges",
    ),
    Mistake(
        "sends_again_after_a_time_at_a_wrong_bit_rate",
        "buses.c",
        "(state->wait == 0u && state->reason == XB_NO_REASON)",
        "(state->wait == 0u)",
        "long_nights/wrong_bit_rate",
    ),
    Mistake(
        "does_not_listen_first",
        "buses.c",
        "spec->listen_first != 0u ? XB_BUS_LISTENING : XB_BUS_OPEN",
        "spec->listen_first == UINT32_MAX ? XB_BUS_LISTENING : XB_BUS_OPEN",
        "long_nights/listens_first",
    ),
    Mistake(
        "flood_cut_off_one_frame_late",
        "buses.c",
        "arrivals->taken >= spec->flood",
        "arrivals->taken > spec->flood",
        "long_nights/flood_and_second_sender",
    ),
    Mistake(
        "routed_frame_leaves_a_closed_bus",
        "sending.c",
        "            if (engine->commands[bus] == (uint8_t)XB_COMMAND_NORMAL) {\n",
        "            if (engine->commands[bus] != (uint8_t)XB_COMMAND_SLEEP) {\n",
        "long_nights/bus_off_recovery",
    ),
    Mistake(
        "quiet_is_not_looked_at",
        "sending.c",
        "&& engine->sleep.quiet == 0u",
        "&& engine->sleep.quiet <= 1u",
        "long_nights/traffic_keeps_awake",
    ),
    Mistake(
        "asleep_one_control_tick_late",
        "power.c",
        "if (state->silent >= spec->after) {",
        "if (state->silent > spec->after) {",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "any_bus_wakes",
        "power.c",
        "(uint8_t)(heard & spec->wake_buses)",
        "heard",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "stuck_door_keeps_awake",
        "power.c",
        "pressed != 0u && state->pressed == 0u",
        "pressed != 0u",
        "long_nights/sleep_and_wake",
    ),
    Mistake(
        "hold_dropped_by_a_brown_out",
        "power.c",
        "(uint8_t)(held != 0u ? XB_AFTER_RUN : XB_OFF)",
        "(uint8_t)(held == 2u ? XB_AFTER_RUN : XB_OFF)",
        "long_nights/brown_out_while_cranking",
    ),
    Mistake(
        "start_up_time_goes_on_in_sleep",
        "control.c",
        "        engine->clockwork.uptime = 0u;\n",
        "",
        "long_nights/sleep_restarts_start_up",
    ),
    Mistake(
        "bus_event_lasts_for_ever",
        "bus_watch.c",
        "    engine->buses[XB_BODY].seen = 0u;\n",
        "    engine->buses[XB_BODY].seen &= 0x7Fu;\n",
        "long_nights/flood_and_second_sender",
    ),
)
