"""Table entries of accelerator pedal, cruise buttons and mode selector."""

from collections.abc import Sequence

from hil.firmware.notation import Arrays, curve, i32, struct, u8, u16, u32
from xlate_core.functions.accelerator_pedal import AcceleratorPedalSpec
from xlate_core.functions.cruise_buttons import ButtonCodeSpec, CruiseButtonsSpec
from xlate_core.functions.mode_selector import ModeSelectorSpec


def accelerator_pedal(spec: AcceleratorPedalSpec, arrays: Arrays, first_part: int) -> str:
    """Return an accelerator pedal."""
    del first_part
    name = spec.name
    tracks = [
        struct({"curve": curve(arrays, one.points, name), "output": u16(one.output, name)})
        for one in spec.tracks
    ]
    times = ("disagreement", "agreement", "rise", "elapsed_ms", "override_after")
    signed = ("limp_limit", "override_above", "override_below", "brake", "mode_output")
    indices = ("track_1", "track_2", "output")
    choices = ("lower_when_apart", "brake_releases_limp", "brake_lost_pressed")
    return struct(
        {
            "tolerance": curve(arrays, spec.tolerance, name),
            "tracks": arrays.add("xb_pedal_track_spec", "pedal_tracks", tracks),
            "track_count": u32(len(tracks), name),
            **{key: u32(getattr(spec, key), name) for key in times},
            **{key: i32(getattr(spec, key), name) for key in signed},
            **{key: u16(getattr(spec, key), name) for key in indices},
            **{key: u8(getattr(spec, key), name) for key in choices},
        }
    )


def _codes(specs: Sequence[ButtonCodeSpec], arrays: Arrays, name: str) -> str:
    entries = [
        struct({"given": i32(one.given, name), "button": u8(one.button, name)}) for one in specs
    ]
    return arrays.add("xb_button_code_spec", "button_codes", entries)


def cruise_buttons(spec: CruiseButtonsSpec, arrays: Arrays, first_part: int) -> str:
    """Return cruise buttons."""
    del first_part
    name = spec.name
    counts = {
        "code_count": spec.codes,
        "contact_count": spec.contacts,
        "cancel_count": spec.cancels,
        "needed_count": spec.needed,
    }
    times = ("debounce", "stuck", "feedback_after")
    signed = ("code", "speed_low", "speed_high", "feedback", "status_output")
    return struct(
        {
            "codes": _codes(spec.codes, arrays, name),
            "contacts": _codes(spec.contacts, arrays, name),
            "cancels": arrays.indices(spec.cancels),
            "needed": arrays.indices(spec.needed),
            **{key: u32(len(entries), name) for key, entries in counts.items()},
            **{key: u32(getattr(spec, key), name) for key in times},
            **{key: i32(getattr(spec, key), name) for key in signed},
            "speed": u16(spec.speed, name),
            "request": u16(spec.request, name),
        }
    )


def mode_selector(spec: ModeSelectorSpec, arrays: Arrays, first_part: int) -> str:
    """Return a mode selector."""
    del first_part
    name = spec.name
    actions = [
        struct(
            {
                "mode": i32(one.mode, name),
                "buttons": u8(one.buttons, name),
                "press": u8(one.press, name),
                "effect": u8(one.effect, name),
            }
        )
        for one in spec.actions
    ]
    switches = [
        struct({"mode": i32(one.mode, name), "quantity": u16(one.quantity, name)})
        for one in spec.switches
    ]
    modes = ("lowest", "highest", "start", "on_loss", "permit", "feedback", "unconfirmed", "shown")
    return struct(
        {
            "buttons": arrays.indices(spec.buttons),
            "actions": arrays.add("xb_mode_action_spec", "mode_actions", actions),
            "switches": arrays.add("xb_mode_switch_spec", "mode_switches", switches),
            "switch_count": u32(len(switches), name),
            "button_count": u32(len(spec.buttons), name),
            "action_count": u32(len(actions), name),
            "long_": u32(spec.long, name),
            "held": u32(spec.held, name),
            "stuck": u32(spec.stuck, name),
            **{key: i32(getattr(spec, key), name) for key in modes},
            "output": u16(spec.output, name),
            "keep_on_loss": u8(spec.keep_on_loss, name),
            "every_cycle": u8(spec.every_cycle, name),
        }
    )
