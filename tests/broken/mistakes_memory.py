"""One-line mistakes in the kept memory and the fault memory of the reference."""

from tests.broken.harness import Mistake

MISTAKES = (
    # KEPT MEMORY (rule 1)
    Mistake(
        "ignition_cycle_forgotten_at_reset",
        "power.py",
        "    if not spec.kept:\n",
        "    if spec.kept:\n",
        "long_nights/cycle_survives_reset",
    ),
    Mistake(
        "off_time_restarts_at_reset",
        "power.py",
        'Field("off_time", Width.U32, Overflow.SATURATE, kept=True)',
        'Field("off_time", Width.U32, Overflow.SATURATE)',
        "long_nights/brown_out_ends_no_cycle",
    ),
    Mistake(
        "power_on_is_like_any_reset",
        "power.py",
        "elif state.off_time > 0:",
        "elif state.off_time > spec.cycle_off:",
        "long_nights/power_on_ends_the_cycle",
    ),
    Mistake(
        "every_power_on_begins_a_cycle",
        "power.py",
        "elif state.off_time > 0:",
        "elif state.off_time >= 0:",
        "long_nights/key_on_at_power_on",
    ),
    Mistake(
        "any_reset_ends_the_cycle",
        "bridge.py",
        "self.control.recall(cause is ResetCause.POWER_ON)",
        "self.control.recall(cause is not None)",
        "long_nights/brown_out_ends_no_cycle",
    ),
    Mistake(
        "starts_are_not_counted",
        "kept_memory.py",
        "state.starts = min(state.starts + 1, UINT16_MAX)",
        "state.starts = min(state.starts, UINT16_MAX)",
        "long_nights/cycle_survives_reset",
    ),
    Mistake(
        "cause_of_the_start_before_is_this_one",
        "kept_memory.py",
        "state.before = state.cause",
        "state.before = cause",
        "long_nights/cycle_survives_reset",
    ),
    # FAULT MEMORY (rule 9)
    Mistake(
        "entry_counts_control_ticks",
        "fault_memory.py",
        "        if not entry.active:\n",
        "        if entry is not None:\n",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "first_time_is_the_last_one",
        "fault_memory.py",
        "        entry.last = now\n",
        "        entry.last = entry.first = now\n",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "last_time_is_that_of_maturing",
        "fault_memory.py",
        "count + 1, UINT16_MAX)\n        entry.last = now\n",
        "count + 1, UINT16_MAX)\n            entry.last = now\n",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "snapshot_taken_each_time",
        "fault_memory.py",
        "            if not entry.stored:\n",
        "            if not entry.stored or entry.count:\n",
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "operation_restarts_at_reset",
        "fault_memory.py",
        'Field("ticks", Width.U32, Overflow.SATURATE, kept=True)',
        'Field("ticks", Width.U32, Overflow.SATURATE)',
        "long_nights/memory_of_a_lost_message",
    ),
    Mistake(
        "fault_stays_active_over_a_reset",
        "fault_memory.py",
        "    if not latch:\n",
        "    if latch:\n",
        "long_nights/latch_survives_reset",
    ),
    Mistake(
        "entry_ages_in_a_bad_cycle",
        "fault_memory.py",
        "entry.stored and entry.judged and not entry.seen",
        "entry.stored and entry.judged",
        "long_nights/memory_ages",
    ),
    Mistake(
        "aging_goes_on_after_the_fault_came_again",
        "fault_memory.py",
        "        entry.seen = True\n        entry.aged = 0\n",
        "        entry.seen = True\n",
        "long_nights/memory_ages",
    ),
    Mistake(
        "entry_erased_one_cycle_late",
        "fault_memory.py",
        "entry.aged >= spec.aging",
        "entry.aged > spec.aging",
        "long_nights/memory_ages",
    ),
    Mistake(
        "entry_once_seen_never_ages",
        "fault_memory.py",
        "    entry.seen = False\n",
        "    entry.seen = entry.seen\n",
        "long_nights/memory_ages",
    ),
    Mistake(
        "latch_lost_at_reset",
        "control.py",
        "                state.level = spec.limit\n                state.matured = True\n",
        "                state.level = spec.limit\n",
        "long_nights/latch_survives_reset",
    ),
)
