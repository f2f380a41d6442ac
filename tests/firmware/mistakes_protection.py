"""Broken copies of the C of counter-plus-CRC profiles and their state machine."""

from tests.firmware.mistakes import Mistake


def _in(file: str, *rows: tuple[str, str, str, str]) -> tuple[Mistake, ...]:
    """Return the mistakes of one file: name, right text, wrong text, vector."""
    return tuple(
        Mistake(name, file, right, wrong, f"dairy_van/{vector}")
        for name, right, wrong, vector in rows
    )


MISTAKES = (
    *_in(
        "profiles.c",
        (
            "profile_losses_rejected",
            "&& state->result != (uint8_t)XB_CHECK_SOME_LOST) {",
            ") {",
            "short_silence",
        ),
        (
            "profile_machine_ignored",
            "if (spec->machine == NULL || state->machine == (uint8_t)XB_MACHINE_VALID) {",
            "if (spec->machine == NULL || state->machine != (uint8_t)XB_MACHINE_NO_DATA) {",
            "machine_starts",
        ),
        (
            "profile_allowed_step_one_too_small",
            "if (step > state->allowed) {",
            "if (step >= state->allowed) {",
            "steps_grow",
        ),
        (
            "profile_wrong_sequence_always_reference",
            "if (spec->sync_checks > 0u) {",
            "if (state->waiting == 0u) {",
            "sequence_without_sync",
        ),
        (
            "profile_stalled_off_by_one",
            "if (stalled > spec->most_stalled) {",
            "if (stalled >= spec->most_stalled) {",
            "short_silence",
        ),
        (
            "profile_5_first_reference_is_zero",
            "state->waiting != 0u ? spec->counter->modulo - 1u : state->counter",
            "state->counter",
            "foreign_data_id",
        ),
        (
            "profile_nibble_not_compared",
            "xb_bits(spec->nibble, intel_word) != spec->nibble_value",
            "xb_bits(spec->nibble, intel_word) > 0xFu",
            "foreign_data_id",
        ),
        (
            "profile_counter_beyond_taken",
            "|| counter >= spec->counter->modulo",
            "|| counter > spec->counter->modulo",
            "foreign_data_id",
        ),
        (
            "profile_silence_one_tick_late",
            "if (state->idle < spec->period) {",
            "if (state->idle <= spec->period) {",
            "silence_is_checked",
        ),
        (
            "profile_start_in_the_tick_of_a_frame_forgets",
            "    if (state->heard != 0u) {\n        return;\n    }\n    state->heard = 1u;\n",
            "    state->heard = 1u;\n",
            "machine_starts",
        ),
        (
            "machine_errors_beyond_the_limit",
            "return errors <= limit->errors && good >= limit->good;",
            "return errors <= limit->errors + 1u && good >= limit->good;",
            "errors_make_invalid",
        ),
        (
            "machine_valid_again_by_the_limits_of_valid",
            "return meets(&spec->invalid, good, errors)",
            "return meets(&spec->valid, good, errors)",
            "errors_make_invalid",
        ),
        (
            "machine_sync_is_never_good",
            "return spec->older_mapping == 0u ? XB_FOUND_GOOD : XB_FOUND_OTHER;",
            "return spec->older_mapping == 2u ? XB_FOUND_GOOD : XB_FOUND_OTHER;",
            "silence_makes_invalid",
        ),
    ),
    *_in(
        "reception.c",
        (
            "profile_wrong_crc_passes",
            "    return xb_profile_accepts(spec, profile);",
            "    return xb_profile_accepts(spec, profile) | (profile->result == 5u);",
            "error_never_fresh",
        ),
    ),
    *_in(
        "transmission.c",
        (
            "first_sent_counter_is_zero",
            "state->counter = spec->envelope->counter->before_first;",
            "state->counter = spec->envelope->counter->modulo - 1u;",
            "published_frames",
        ),
    ),
)
