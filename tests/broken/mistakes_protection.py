"""One-line mistakes in counter-plus-CRC profiles and their state machine.

Mistakes in the layout change the pairing itself; the published frames of tests/outside hold it.
"""

from tests.broken.harness import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one file: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, file, right, wrong, f"dairy_van/{vector}")
        for name, right, wrong, vector in rows
    )


ACCEPTED = "if state.result not in (CheckResult.OK, CheckResult.SOME_LOST):"
GROW = "        state.allowed = min(state.allowed + 1, spec.counter.modulo - 1)\n"

CHECKS = _in(
    "protection/profiles.py",
    (
        "first_frame_of_a_profile_accepted",
        ACCEPTED,
        "if state.result not in (CheckResult.OK, CheckResult.SOME_LOST, CheckResult.INITIAL):",
        "machine_starts",
    ),
    (
        "repeated_frame_of_a_profile_accepted",
        ACCEPTED,
        "if state.result not in (CheckResult.OK, CheckResult.SOME_LOST, CheckResult.REPEATED):",
        "counter_stands",
    ),
    (
        "frame_that_resynchronises_accepted",
        ACCEPTED,
        "if state.result not in (CheckResult.OK, CheckResult.SOME_LOST, CheckResult.SYNC):",
        "silence_is_checked",
    ),
    (
        "frames_with_losses_rejected",
        ACCEPTED,
        "if state.result != CheckResult.OK:",
        "short_silence",
    ),
    (
        "machine_that_is_not_valid_ignored",
        "if spec.machine is None or state.machine == MachineState.VALID:",
        "if spec.machine is None or state.machine != MachineState.NO_DATA:",
        "machine_starts",
    ),
    (
        "allowed_step_does_not_grow_with_frames",
        GROW + "    counter = extract",
        "        state.allowed = max(state.allowed, spec.counter.max_step)\n    counter = extract",
        "errors_make_invalid",
    ),
    (
        "allowed_step_does_not_grow_with_silence",
        GROW + "        state.stalled",
        "        state.stalled",
        "steps_grow",
    ),
    (
        "allowed_step_is_not_set_back",
        "    state.allowed = spec.counter.max_step\n",
        "    state.allowed = max(state.allowed, spec.counter.max_step)\n",
        "steps_grow",
    ),
    (
        "silence_is_no_missing_counter",
        "        state.stalled = min(state.stalled + 1, UINT8_MAX)\n    note(",
        "        state.stalled = min(state.stalled, UINT8_MAX)\n    note(",
        "silence_is_checked",
    ),
    (
        "resynchronises_one_check_early",
        "if stalled > spec.most_stalled:",
        "if stalled >= spec.most_stalled:",
        "short_silence",
    ),
    (
        "allowed_step_one_too_small",
        "if step > state.allowed:",
        "if step >= state.allowed:",
        "steps_grow",
    ),
    (
        "wrong_sequence_is_always_a_reference",
        "        if spec.sync_checks > 0:\n",
        "        if spec.sync_checks >= 0:\n",
        "sequence_without_sync",
    ),
    (
        "wrong_sequence_asks_for_no_sync",
        "        state.stalled = 0\n        state.syncing = spec.sync_checks\n",
        "        state.stalled = 0\n",
        "steps_grow",
    ),
    (
        "largest_step_of_profile_5_one_too_small",
        "if step > spec.counter.max_step:",
        "if step >= spec.counter.max_step:",
        "every_counter_is_taken",
    ),
    (
        "profile_5_takes_good_counters_only",
        "    state.counter = counter\n    if step > spec.counter.max_step:\n",
        "    if step > spec.counter.max_step:\n",
        "every_counter_is_taken",
    ),
    (
        "data_id_in_the_payload_not_compared",
        "extract(spec.nibble, data) != spec.nibble_value",
        "extract(spec.nibble, data) < 0",
        "foreign_data_id",
    ),
    (
        "counter_beyond_the_profile_taken",
        "or counter >= spec.counter.modulo:",
        "or counter > spec.counter.modulo:",
        "foreign_data_id",
    ),
    (
        "silence_one_tick_late",
        "if state.idle < spec.period:",
        "if state.idle <= spec.period:",
        "silence_is_checked",
    ),
    (
        "silence_checked_once",
        "    state.idle = 0\n    check_silence",
        "    check_silence",
        "silence_is_checked",
    ),
    (
        "silence_checked_without_supervision",
        "    if not supervised:\n",
        "    if supervised is None:\n",
        "supervision_restarts",
    ),
    (
        "sync_is_good_in_the_older_mapping",
        "if result == CheckResult.SYNC and not spec.older_mapping:",
        "if result == CheckResult.SYNC:",
        "older_mapping",
    ),
    (
        "profile_forgets_nothing_at_a_start",
        "    state.waiting = True\n    state.idle = 0\n",
        "    state.idle = 0\n",
        "supervision_restarts",
    ),
)

MACHINE = _in(
    "protection/machine.py",
    (
        "window_one_check_too_long",
        "return (1 << self.window) - 1",
        "return (2 << self.window) - 1",
        "errors_make_invalid",
    ),
    (
        "one_error_less_than_the_limit",
        "return errors <= limit.errors and",
        "return errors < max(limit.errors, 1) and",
        "one_error_forgiven",
    ),
    (
        "one_good_check_more_than_the_limit",
        "good >= limit.good",
        "good > limit.good",
        "machine_starts",
    ),
    (
        "valid_again_by_the_limits_of_valid",
        "if meets(spec.invalid, good, errors)",
        "if meets(spec.valid, good, errors)",
        "errors_make_invalid",
    ),
)

AROUND = (
    *_in(
        "reception.py",
        (
            "wrong_crc_of_a_profile_passes",
            "    if accepts(spec, profile):\n",
            "    if accepts(spec, profile) or result == CheckResult.WRONG_CRC:\n",
            "error_never_fresh",
        ),
    ),
    *_in(
        "intake.py",
        (
            "profile_goes_on_over_a_start",
            "                        profiles.begin(entry.state)\n",
            "                        entry.state.heard = False\n",
            "supervision_restarts",
        ),
    ),
    *_in(
        "protection/counters.py",
        (
            "first_sent_counter_counted_twice",
            "return (self.first - 1) % self.modulo",
            "return self.first % self.modulo",
            "published_frames",
        ),
    ),
)

MISTAKES = (*CHECKS, *MACHINE, *AROUND)
