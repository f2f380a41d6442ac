"""Broken copies of the C core in its kept memory and its fault memory."""

from tests.firmware.mistakes import Mistake

MISTAKES = (
    Mistake(
        "ignition_cycle_forgotten_at_reset",
        "power.c",
        "    if (spec->kept == 0u) {\n",
        "    if (spec->kept != 0u) {\n",
        "long_nights/cycle_survives_reset",
    ),
    Mistake(
        "power_on_is_like_any_reset",
        "power.c",
        "} else if (state->off_time > 0u && state->off_time < spec->cycle_off) {",
        "} else if (state->off_time > spec->cycle_off) {",
        "long_nights/power_on_ends_the_cycle",
    ),
    Mistake(
        "any_reset_ends_the_cycle",
        "power.c",
        "} else if (power_on == 0u) {",
        "} else if (power_on == 2u) {",
        "long_nights/brown_out_ends_no_cycle",
    ),
    Mistake(
        "starts_are_not_counted",
        "kept_memory.c",
        "        state->starts = xb_count(state->starts);\n",
        "",
        "long_nights/cycle_survives_reset",
    ),
    Mistake(
        "kept_memory_never_fits",
        "kept_memory.c",
        "layout != XB_KEPT_LAYOUT ||",
        "layout == XB_KEPT_LAYOUT ||",
        "long_nights/cycle_survives_reset",
    ),
    Mistake(
        "kept_fields_shifted",
        "fields.c",
        "if (writer->kept_only != 0u && kept == 0u) {",
        "if (writer->kept_only != 0u && kept == 0u && writer->source == NULL) {",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "entry_counts_control_ticks",
        "fault_memory.c",
        "if (entry->active == 0u) {",
        "if (entry->active <= 1u) {",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "snapshot_of_another_quantity",
        "fault_memory.c",
        "snapshot[i].value = store->states[spec->snapshot[i]].value;",
        "snapshot[i].value = store->states[spec->snapshot[0]].value;",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "entry_erased_one_cycle_late",
        "fault_memory.c",
        "entry->aged >= spec->aging",
        "entry->aged > spec->aging",
        "long_nights/memory_ages",
    ),
    Mistake(
        "snapshot_outlives_its_entry",
        "fault_memory.c",
        "        snapshot[i] = xb_snapshot_reset_state;\n",
        "        (void)snapshot[i];\n",
        "long_nights/memory_ages",
    ),
    Mistake(
        "latch_lost_at_reset",
        "control.c",
        "        if (xb_entry_recall(&engine->entries[i], spec->latch) != 0u) {\n",
        "        if (xb_entry_recall(&engine->entries[i], spec->latch) == 0u) {\n",
        "long_nights/latch_survives_reset",
    ),
)
