"""Broken copies of the C core, one place each, that the stored vectors must notice."""

from typing import NamedTuple


class Mistake(NamedTuple):
    """One place of one file changed.

    `caught_by` is the pairing/vector that notices; without it any vector of the whole-car pairing.
    """

    name: str
    file: str
    right: str
    wrong: str
    caught_by: str = ""


MISTAKES = (
    Mistake(
        "deadline_one_tick_late",
        "reception.c",
        "return state->age >= deadline;",
        "return state->age > deadline;",
        "minimal/first_deadline_in_time",
    ),
    Mistake(
        "first_deadline_forgotten",
        "reception.c",
        "status == XB_UNIT_NEVER_RECEIVED ? spec->first_deadline",
        "status == XB_UNIT_NEVER_RECEIVED ? spec->deadline",
    ),
    Mistake(
        "counter_repetition_accepted",
        "protection.c",
        "return distance >= 1u && distance",
        "return distance",
        "farm_pickup/modulo_15",
    ),
    Mistake(
        "counter_reference_only_when_accepted",
        "reception.c",
        "        state->reference = (uint16_t)counter;\n        if (",
        "        if (reference == XB_NO_REFERENCE) {\n"
        "            state->reference = (uint16_t)counter;\n        }\n        if (",
    ),
    Mistake(
        "checksum_final_value_forgotten",
        "protection.c",
        "(uint8_t)(running ^ spec->crc->xorout)",
        "running",
    ),
    Mistake(
        "counter_after_checksum",
        "protection.c",
        "(uint64_t)plain_checksum(checksum_spec, word) << place",
        "(uint64_t)plain_checksum(checksum_spec, intel_word) << place",
    ),
    Mistake(
        "half_rounded_down",
        "arithmetic.c",
        "int32_t half = denominator / 2;",
        "int32_t half = (denominator - 1) / 2;",
        "farm_pickup/condition_threshold",
    ),
    Mistake(
        "hold_one_tick_long",
        "quantities.c",
        "state->held < spec->hold\n",
        "state->held <= spec->hold\n",
    ),
    Mistake(
        "event_ignores_gap",
        "transmission.c",
        "due = state->gap >= spec->min_gap;",
        "due = 1u;",
    ),
    Mistake(
        "event_shifts_period",
        "sending.c",
        "xb_hand_over(spec->envelope, slot, payload, next_frame(outputs, bus));",
        "xb_hand_over(spec->envelope, slot, payload, next_frame(outputs, bus));\n"
        "        slot->due_in = spec->period;",
    ),
    Mistake(
        "debounce_one_tick_long",
        "pins.c",
        "state->differs >= spec->debounce",
        "state->differs > spec->debounce",
    ),
    Mistake(
        "fan_runs_while_cranking",
        "functions/cooling_fan.c",
        "inhibited != 0u || power->mode == (uint8_t)XB_CRANKING",
        "inhibited != 0u",
        "farm_pickup/fan_off_cranking",
    ),
    Mistake(
        "last_stage_at_loss_waits_for_minimum_off_time",
        "functions/cooling_fan.c",
        "(run == 0u || i + 1u <= forced)",
        "(run == 0u || i + 1u < forced)",
        "farm_pickup/fan_loss_after_cranking",
    ),
    Mistake(
        "pump_primes_again_in_the_same_cycle",
        "functions/fuel_pump.c",
        "        state->primed = 1u;\n",
        "        state->primed = 0u;\n",
    ),
    Mistake(
        "latched_fault_heals_by_itself",
        "faults.c",
        "state->level == 0u && spec->latch == 0u",
        "state->level == 0u",
        "farm_pickup/jump_after_loss",
    ),
    Mistake(
        "loss_silences_supervision",
        "conditions.c",
        "            continue;\n",
        "            return 0u;\n",
    ),
    Mistake(
        "fifo_drops_the_oldest",
        "transmission.c",
        "        state->overflows = xb_count(state->overflows);\n        return;\n",
        "        state->overflows = xb_count(state->overflows);\n",
    ),
    Mistake(
        "needle_without_hysteresis",
        "functions/gauge.c",
        "distance > spec->hysteresis || -distance > spec->hysteresis",
        "distance != 0",
        "farm_pickup/fan_stage_1_threshold",
    ),
    Mistake(
        "fifo_frame_sent_again",
        "sending.c",
        "        engine->waiting_counts[i] = 0u;\n",
        "        engine->waiting_counts[i] = spec->routes[i].fifo;\n",
    ),
)
