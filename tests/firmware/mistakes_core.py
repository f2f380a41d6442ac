"""Broken copies of the engine's C files: comparison, tick, order, sign, rounding, index, reset."""

from tests.firmware.mistakes import Mistake

MISTAKES = (
    # arithmetic
    Mistake(
        "negative_half_rounded_towards_zero",
        "arithmetic.c",
        "numerator < 0 ? -half : half",
        "numerator < 0 ? -((denominator - 1) / 2) : half",
        "minimal/rounding_ties",
    ),
    Mistake(
        "negative_rounded_up",
        "arithmetic.c",
        "numerator < 0 ? -half : half",
        "half",
        "minimal/signed_motorola",
    ),
    Mistake(
        "long_half_rounded_down",
        "arithmetic.c",
        "rest >= denominator - rest",
        "rest > denominator - rest",
        "farm_pickup/fuel_sender_window",
    ),
    Mistake(
        "long_negative_rounded_up",
        "arithmetic.c",
        "quotient -= 1;",
        "quotient += 1;",
        "farm_pickup/fuel_sender_window",
    ),
    Mistake(
        "rate_forgets_the_remainder",
        "arithmetic.c",
        "(uint64_t)*remainder + (uint64_t)rate_per_s",
        "(uint64_t)rate_per_s",
        "farm_pickup/pedal_returns_slowly",
    ),
    Mistake(
        "curve_takes_the_wrong_slope",
        "arithmetic.c",
        "y0 * dx + (x - x0) * dy, dx)",
        "y0 * dx - (x - x0) * dy, dx)",
    ),
    Mistake(
        "approach_overshoots",
        "arithmetic.c",
        "return value - step > target ? value - step : target;",
        "return value - step;",
        "instruments/dial_rates",
    ),
    # signals, decoding
    Mistake(
        "octets_swapped_in_pairs", "signals.c", "(half & 0xFF00u) << 8", "(half & 0xFF00u) << 16"
    ),
    Mistake("sign_bit_missed", "signals.c", "bits > (spec->mask >> 1)", "bits > spec->mask"),
    Mistake(
        "negative_value_one_off", "signals.c", "(spec->mask - bits) - 1", "(spec->mask - bits)"
    ),
    Mistake(
        "last_octet_not_read", "signals.c", "i < length && i < 8u", "i + 1u < length && i < 8u"
    ),
    Mistake(
        "changed_source_not_looked_at",
        "decoding.c",
        "!= 0u) {\n            xb_add_to",
        "== 0u) {\n            xb_add_to",
    ),
    Mistake("first_source_of_a_unit_skipped", "decoding.c", "uint32_t i = 0u;", "uint32_t i = 1u;"),
    # protection
    Mistake(
        "checksum_starts_at_zero",
        "protection.c",
        "        running = spec->crc->init;\n    }\n    for",
        "        running = 0u;\n    }\n    for",
    ),
    Mistake(
        "checksum_covers_itself",
        "protection.c",
        "if (i != spec->checksum_octet) {",
        "if (i != 99u) {",
    ),
    Mistake(
        "sum_becomes_exclusive_or", "protection.c", "(running + octet) & 0xFF", "running ^ octet"
    ),
    Mistake(
        "sent_counter_skips_its_last_value",
        "protection.c",
        "counter + 1u >= spec->modulo ?",
        "counter + 2u >= spec->modulo ?",
    ),
    Mistake(
        "data_identifier_behind_the_data",
        "protection.c",
        "for (uint32_t i = 0u; i < spec->before_count; i++)",
        "for (uint32_t i = 1u; i < spec->before_count; i++)",
    ),
    # reception, intake
    Mistake(
        "short_frame_accepted",
        "reception.c",
        "length < spec->length &&",
        "length + 1u < spec->length &&",
        "minimal/frame_short_rejected",
    ),
    Mistake(
        "unit_taken_without_its_last_octet",
        "reception.c",
        "unit->last_octet < (int32_t)length",
        "unit->last_octet <= (int32_t)length",
        "farm_pickup/short_frame_nothing_left",
    ),
    Mistake(
        "selector_range_without_its_end",
        "reception.c",
        "selector <= unit->selectors[i].high",
        "selector < unit->selectors[i].high",
    ),
    Mistake(
        "identifier_format_ignored",
        "intake.c",
        "           && key->extended == frame->extended;",
        "           ;",
        "minimal/frame_unknown",
    ),
    Mistake(
        "second_sender_counted_as_unknown",
        "intake.c",
        "counts->second_sender = xb_count(counts->second_sender);",
        "counts->unknown = xb_count(counts->unknown);",
    ),
    Mistake(
        "rejected_frame_refreshes",
        "intake.c",
        "        reject(message, state);\n        return XB_NONE;\n    }\n\n    /* UNITS */",
        "        reject(message, state);\n    }\n\n    /* UNITS */",
    ),
    Mistake(
        "unknown_selector_not_counted",
        "intake.c",
        "if (choice.unknown != 0u) {",
        "if (choice.unknown == 2u) {",
        "farm_pickup/mux_unknown_selector",
    ),
    Mistake(
        "fresh_frame_keeps_its_age",
        "intake.c",
        "        unit->fresh = 0u;\n        unit->age = 0u;\n",
        "        unit->fresh = 0u;\n",
    ),
    Mistake(
        "sources_not_forgotten_at_loss",
        "intake.c",
        "        xb_forget(&engine->sources[unit->sources[i]]);\n",
        "        (void)i;\n",
    ),
    Mistake(
        "counter_reference_kept_at_loss",
        "intake.c",
        "    engine->messages[unit->message].reference = XB_NO_REFERENCE;\n",
        "",
        "farm_pickup/deadlines_one_tick_apart",
    ),
    Mistake(
        "age_runs_while_supervision_is_off",
        "intake.c",
        "} else if (running != 0u) {",
        "} else if (running < 2u) {",
    ),
    Mistake(
        "lost_unit_offers_its_source",
        "intake.c",
        "return engine->units[unit].status;",
        "return engine->sources[source].status;",
    ),
    Mistake(
        "hold_not_looked_at_again",
        "quantities.c",
        "XB_QUANTITY_AGAIN | (changed",
        "0u | (changed",
    ),
    Mistake(
        "returned_source_keeps_its_status",
        "intake.c",
        "        state->status = (uint8_t)XB_VALID;\n        state->origin = 0u;\n",
        "        state->origin = 0u;\n",
    ),
    # quantities
    Mistake(
        "produced_value_not_limited",
        "quantities.c",
        "xb_saturate_short(value, spec->low, spec->high);\n    uint8_t origin",
        "value;\n    uint8_t origin",
        "farm_pickup/full_tank_ends_the_needle",
    ),
    Mistake(
        "special_code_without_its_end",
        "quantities.c",
        "raw <= spec->specials[i].last",
        "raw < spec->specials[i].last",
        "instruments/speed_worst_wheel",
    ),
    Mistake(
        "range_test_forgotten_above",
        "quantities.c",
        "raw < spec->valid_low || raw > spec->valid_high",
        "raw < spec->valid_low",
        "instruments/speed_worst_wheel",
    ),
    Mistake(
        "frozen_one_frame_late",
        "quantities.c",
        "state->unchanged >= spec->frozen_after",
        "state->unchanged > spec->frozen_after",
        "farm_pickup/frozen_value",
    ),
    Mistake(
        "fall_is_never_implausible",
        "quantities.c",
        "        change = -change;\n",
        "",
        "farm_pickup/implausible_fall",
    ),
    Mistake(
        "second_source_never_taken",
        "quantities.c",
        "uint32_t origin = 1u; origin <",
        "uint32_t origin = 2u; origin <",
    ),
    Mistake(
        "substitute_instead_of_initial",
        "quantities.c",
        "state->value = spec->initial;",
        "state->value = spec->substitute;",
    ),
    Mistake(
        "returns_at_once",
        "quantities.c",
        "        state->returning = 1u;\n",
        "        state->returning = 0u;\n",
        "farm_pickup/cooler_cut_on_slow_return",
    ),
    # faults, conditions, power, pins
    Mistake(
        "fault_matures_one_step_late",
        "faults.c",
        "state->level >= spec->limit",
        "state->level > spec->limit",
    ),
    Mistake(
        "fault_heals_by_the_worse_step",
        "faults.c",
        "(int64_t)better * spec->down",
        "(int64_t)better * spec->up",
        "minimal/frame_empty_rejected",
    ),
    Mistake(
        "supply_window_without_its_top",
        "conditions.c",
        "supply_mv > spec->supply_high",
        "supply_mv >= spec->supply_high",
        "farm_pickup/supply_window_ends",
    ),
    Mistake(
        "start_up_one_tick_short", "conditions.c", "tick < spec->after", "tick + 1u < spec->after"
    ),
    Mistake("any_mode_will_do", "conditions.c", ">> mode) & 1u) == 0u", ">> mode) & 1u) == 2u"),
    Mistake(
        "running_needs_more_than_its_threshold",
        "power.c",
        "speed->value >= spec->running_above",
        "speed->value > spec->running_above",
        "instruments/lamp_standing",
    ),
    Mistake(
        "after_run_one_control_tick_long",
        "power.c",
        "state->off_time < spec->after_run",
        "state->off_time <= spec->after_run",
        "minimal/power_hold_after_run",
    ),
    Mistake(
        "new_cycle_after_any_bounce",
        "power.c",
        "state->off_time >= spec->cycle_off",
        "state->off_time > 0u",
    ),
    Mistake(
        "active_low_output_inverted",
        "pins.c",
        "(value != 0) == (spec->active_high != 0u)",
        "(value != 0)",
    ),
    Mistake(
        "bounce_counts_on",
        "pins.c",
        "    if (active == state->active) {\n        state->differs = 0u;\n",
        "    if (active == state->active) {\n",
        "minimal/key_debounced",
    ),
    # transmission, sending
    Mistake(
        "encoded_past_the_range",
        "transmission.c",
        "(int32_t)spec->low, (int32_t)spec->high);",
        "(int32_t)spec->low, INT32_MAX);",
        "minimal/signed_motorola",
    ),
    Mistake("offset_ignored", "transmission.c", "spec->period != 0u ? spec->offset : 0u", "0u"),
    Mistake("gap_not_restarted", "transmission.c", "    state->gap = 0u;\n", ""),
    Mistake(
        "period_one_tick_long",
        "transmission.c",
        "state->due_in = spec->period;\n        due",
        "state->due_in = spec->period + 1u;\n        due",
    ),
    Mistake(
        "sent_though_stopped", "transmission.c", "due != 0u && state->stopped == 0u", "due != 0u"
    ),
    Mistake(
        "routed_frame_keeps_its_bus",
        "transmission.c",
        "    waiting[*waiting_count - 1u].bus = spec->bus;\n",
        "",
    ),
    Mistake(
        "changes_never_packed",
        "sending.c",
        "engine->unpacked[index] = 1u;",
        "engine->unpacked[index] = 0u;",
    ),
    Mistake(
        "communication_never_ends",
        "sending.c",
        "        slot->started = 0u;\n",
        "",
        "test_stand/comparisons",
    ),
    # the order of a tick, the image
    Mistake(
        "control_tick_one_late",
        "bridge.c",
        "if (clockwork->phase == 0u) {",
        "if (clockwork->phase == 1u) {",
    ),
    Mistake(
        "supply_committed_never", "bridge.c", "    clockwork->supply_mv = inputs->supply_mv;\n", ""
    ),
    Mistake(
        "frame_counts_kept_for_faults", "control.c", "        engine->messages[i].bad = 0u;\n", ""
    ),
    Mistake(
        "reset_keeps_the_faults",
        "control.c",
        "engine->faults[i] = xb_fault_reset_state;",
        "(void)i;",
    ),
    Mistake(
        "routes_missing_in_the_image",
        "state_image.c",
        "        xb_put_route(writer, &engine->routes[i]);\n",
        "        (void)i;\n",
    ),
    Mistake(
        "image_most_significant_octet_first",
        "fields.c",
        "(uint8_t)((value >> (8u * i)) & 0xFFu)",
        "(uint8_t)((value >> (8u * (octets - 1u - i))) & 0xFFu)",
    ),
    Mistake(
        "word_of_another_row",
        "functions/mapping.c",
        "value = spec->table[i].y;",
        "value = spec->table[0].y;",
    ),
)
