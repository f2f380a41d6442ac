"""Checks and specs of accelerator pedal, cruise buttons and mode selector."""

from fractions import Fraction

from xlate_core.arithmetic import INT32_MAX, Points
from xlate_core.functions.accelerator_pedal import AcceleratorPedalSpec, TrackOutputSpec
from xlate_core.functions.cruise_buttons import (
    NONE,
    ButtonCodeSpec,
    CruiseButton,
    CruiseButtonsSpec,
)
from xlate_core.functions.mode_selector import (
    ActionSpec,
    Effect,
    ModeSelectorSpec,
    Press,
    SwitchSpec,
)
from xlate_core.pairing.build_functions import curve_points, resolution_of
from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.layouts import plain_unit
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import rate_steps, steps
from xlate_core.pairing.schema_controls import (
    AcceleratorPedalTable,
    CruiseButtonsTable,
    ModeSelectorTable,
)

NEVER = INT32_MAX  # a threshold no pedal exceeds


def build_pedal(
    context: Context, indices: Indices, path: KeyPath, table: AcceleratorPedalTable
) -> AcceleratorPedalSpec:
    """Return the spec of a pedal; everything is in steps of the tracks."""
    _same_steps(context, path, table)
    _brake_is_whole(context, path, table)
    control = context.file.clock.control_ms
    resolution = resolution_of(context, table.track_1)

    def position(key: str, missing: int) -> int:
        value = getattr(table, key)
        if value is None:
            return missing
        return steps(context, (*path, key), value, table.track_1, inside=True)

    above, below = position("override_above", NEVER), position("override_below", 0)
    if table.override_above is not None and table.override_below is not None and below > above:
        expected = f"at most override_above = {show_ratio(table.override_above)}"
        where: KeyPath = (*path, "override_below")
        context.collector.add(where, show_ratio(table.override_below), expected)
    tracks = tuple(
        TrackOutputSpec(
            indices.quantities[track.output],
            curve_points(
                context,
                (*path, "tracks", number, "curve"),
                track.curve,
                resolution_of(context, table.output),
                resolution_of(context, track.output),
            ),
        )
        for number, track in enumerate(table.tracks)
    )
    rise = (*path, "rise_per_s")
    return AcceleratorPedalSpec(
        name=table.name,
        track_1=indices.quantities[table.track_1],
        track_2=indices.quantities[table.track_2],
        brake=indices.quantity(table.brake),
        output=indices.quantities[table.output],
        mode_output=indices.quantity(table.mode_output),
        tracks=tracks,
        tolerance=_tolerance(context, path, table, resolution),
        disagreement=table.disagreement_ms // control,
        agreement=table.agreement_ms // control,
        lower_when_apart=table.on_disagreement == "lower",
        limp_limit=position("limp_limit", 0),
        rise=rate_steps(context, rise, table.rise_per_s, resolution),
        elapsed_ms=control,
        brake_releases_limp=table.brake_releases_limp,
        override_above=above,
        override_below=below,
        override_after=table.override_ms // control,
        brake_lost_pressed=table.on_brake_loss == "pressed",
    )


def _tolerance(
    context: Context, path: KeyPath, table: AcceleratorPedalTable, resolution: Fraction
) -> Points:
    """Return the largest distance of the tracks as a curve of track 1."""
    if (table.tolerance is None) == (table.tolerance_curve is None):
        found = "neither" if table.tolerance is None else "both"
        context.collector.add((*path, "tolerance"), found, "either tolerance or tolerance_curve")
        return ((0, 0),)
    if table.tolerance_curve is not None:
        where: KeyPath = (*path, "tolerance_curve")
        return curve_points(context, where, table.tolerance_curve, resolution, resolution)
    allowed = table.tolerance or Fraction(0)
    where = (*path, "tolerance")
    if allowed < 0:
        context.collector.add(where, show_ratio(allowed), "at least 0")
    return ((0, steps(context, where, allowed, table.track_1)),)


def _same_steps(context: Context, path: KeyPath, table: AcceleratorPedalTable) -> None:
    """Tracks and request are compared as they are: same unit, same resolution."""
    first = context.file.quantity.get(table.track_1)
    for key in ("track_2", "output"):
        other = context.file.quantity.get(getattr(table, key))
        if first is None or other is None:
            continue
        if plain_unit(first.unit) != plain_unit(other.unit) or first.resolution != other.resolution:
            found = f'"{other.unit}" in steps of {show_ratio(other.resolution)}'
            expected = f'"{first.unit}" in steps of {show_ratio(first.resolution)}, as track_1'
            context.collector.add((*path, key), found, expected)


def _brake_is_whole(context: Context, path: KeyPath, table: AcceleratorPedalTable) -> None:
    """Keys about the brake come with it."""
    for key in ("override_above", "override_below", "on_brake_loss", "on_brake_loss_reason"):
        given = getattr(table, key) is not None
        if table.brake is None and given:
            context.collector.add((*path, key), f"{key} without brake", "brake: its quantity")
        elif table.brake is not None and not given and key.startswith("on_"):
            context.collector.add((*path, key), "no such key", f"{key}, with brake")
    if (table.override_above is None) != (table.override_below is None):
        where: KeyPath = (*path, "override_above")
        found = "one of them alone"
        context.collector.add(where, found, "override_above and override_below together")
    if table.brake is None and table.brake_releases_limp:
        where = (*path, "brake_releases_limp")
        context.collector.add(where, "true without brake", "brake: its quantity")


def check_cruise(context: Context, path: KeyPath, table: CruiseButtonsTable) -> None:
    """Collect buttons that cannot be told apart and a window that is none."""
    if (table.code is None) == bool(table.codes):
        found = "codes without code" if table.codes else "code without codes"
        context.collector.add((*path, "codes"), found, "code and codes together")
    if table.code is None and not table.contacts:
        context.collector.add(path, "no button", "code and codes, or contacts")
    seen: set[Fraction] = set()
    for index, entry in enumerate(table.codes):
        if entry.value in seen:
            where: KeyPath = (*path, "codes", index, "value")
            context.collector.add(where, f"{show_ratio(entry.value)} again", "each value once")
        seen.add(entry.value)
    low, high = table.speed_window
    if low >= high:
        found = f"[{show_ratio(low)}, {show_ratio(high)}]"
        context.collector.add((*path, "speed_window"), found, "[lowest, highest]")
    if table.stuck_ms <= table.debounce_ms:
        where = (*path, "stuck_ms")
        context.collector.add(where, str(table.stuck_ms), f"more than {table.debounce_ms}")


def build_cruise(
    context: Context, indices: Indices, path: KeyPath, table: CruiseButtonsTable
) -> CruiseButtonsSpec:
    """Return the spec of cruise buttons."""
    control = context.file.clock.control_ms
    codes = []
    for number, entry in enumerate(table.codes):
        where = (*path, "codes", number, "value")
        value = steps(context, where, entry.value, table.code or "", inside=True)
        codes.append(ButtonCodeSpec(value, CruiseButton[entry.button.upper()]))
    cancels = [one for one in (table.brake, table.clutch, table.stability) if one is not None]
    contacts = [one.quantity for one in table.contacts]
    needed = [*cancels, table.speed, *contacts, *([table.code] if table.code is not None else [])]
    low, high = (
        steps(context, (*path, "speed_window", end), table.speed_window[end], table.speed)
        for end in (0, 1)
    )
    return CruiseButtonsSpec(
        name=table.name,
        code=indices.quantity(table.code),
        codes=tuple(entry for entry in codes if entry.button != NONE),
        contacts=tuple(
            ButtonCodeSpec(indices.quantities[one.quantity], CruiseButton[one.button.upper()])
            for one in table.contacts
        ),
        debounce=table.debounce_ms // control,
        stuck=table.stuck_ms // control,
        cancels=tuple(indices.quantities[one] for one in cancels),
        needed=tuple(indices.quantities[one] for one in dict.fromkeys(needed)),
        speed=indices.quantities[table.speed],
        speed_low=low,
        speed_high=high,
        feedback=indices.quantity(table.feedback),
        feedback_after=table.feedback_ms // control,
        request=indices.quantities[table.request],
        status_output=indices.quantity(table.status_output),
    )


def check_selector(context: Context, path: KeyPath, table: ModeSelectorTable) -> None:
    """Collect presses that cannot happen, clash, or lead nowhere."""
    low, high = table.modes
    if low >= high:
        found = f"[{show_ratio(low)}, {show_ratio(high)}]"
        context.collector.add((*path, "modes"), found, "[lowest, highest]")
    for key, least in (("long_ms", 1), ("held_ms", table.long_ms), ("stuck_ms", table.held_ms + 1)):
        value = getattr(table, key)
        if value < least:
            context.collector.add((*path, key), str(value), f"at least {least}")
    for key in ("start", "on_loss"):
        _is_a_mode(context, (*path, key), getattr(table, key), table)
    if (table.feedback is None) != (table.unconfirmed is None):
        found = "one of them alone"
        context.collector.add((*path, "unconfirmed"), found, "feedback and unconfirmed together")
    for key in ("shown", "feedback"):
        other = context.file.quantity.get(getattr(table, key) or "")
        if other is not None and other.resolution != resolution_of(context, table.output):
            found = f"steps of {show_ratio(other.resolution)}"
            context.collector.add((*path, key), found, "the resolution of output")
    if not table.actions and not table.switches:
        context.collector.add(path, "nothing to operate", "buttons and actions, or switches")
    for index, switch in enumerate(table.switches):
        _is_a_mode(context, (*path, "switches", index, "mode"), switch.mode, table)
    seen: set[tuple[frozenset[str], str]] = set()
    for index, action in enumerate(table.actions):
        where: KeyPath = (*path, "actions", index)
        for place, name in enumerate(action.buttons):
            if name not in table.buttons:
                context.collector.add_unknown(
                    (*where, "buttons", place), "a button of this selector", name, table.buttons
                )
        press = (frozenset(action.buttons), str(action.press))
        if press in seen:
            found = f"{' + '.join(action.buttons)} {action.press} again"
            context.collector.add(where, found, "each press once")
        seen.add(press)
        if (action.mode is None) == (action.do == "set"):
            found = "no mode" if action.mode is None else f"a mode with {action.do}"
            context.collector.add((*where, "mode"), found, "mode with set, and only there")
        _is_a_mode(context, (*where, "mode"), action.mode, table)


def _is_a_mode(
    context: Context, path: KeyPath, mode: Fraction | None, table: ModeSelectorTable
) -> None:
    low, high = table.modes
    if mode is not None and not low <= mode <= high:
        expected = f"a mode within {show_ratio(low)}..{show_ratio(high)}"
        context.collector.add(path, show_ratio(mode), expected)


def build_selector(
    context: Context, indices: Indices, path: KeyPath, table: ModeSelectorTable
) -> ModeSelectorSpec:
    """Return the spec of a mode selector."""
    control = context.file.clock.control_ms

    def mode(where: KeyPath, value: Fraction | None, quantity: str | None = None) -> int:
        if value is None:
            return 0
        return steps(context, where, value, quantity or table.output, inside=True)

    actions = tuple(
        ActionSpec(
            buttons=sum(1 << table.buttons.index(name) for name in set(action.buttons)),
            press=int(Press[action.press.upper()]),
            effect=int(Effect[action.do.upper()]),
            mode=mode((*path, "actions", number, "mode"), action.mode),
        )
        for number, action in enumerate(table.actions)
    )
    lowest, highest = (mode((*path, "modes", end), table.modes[end]) for end in (0, 1))
    return ModeSelectorSpec(
        name=table.name,
        buttons=tuple(indices.quantities[name] for name in table.buttons),
        actions=actions,
        switches=tuple(
            SwitchSpec(
                indices.quantities[one.quantity], mode((*path, "switches", number), one.mode)
            )
            for number, one in enumerate(table.switches)
        ),
        long=table.long_ms // control,
        held=table.held_ms // control,
        stuck=table.stuck_ms // control,
        lowest=lowest,
        highest=highest,
        start=mode((*path, "start"), table.start),
        on_loss=mode((*path, "on_loss"), table.on_loss),
        keep_on_loss=table.on_loss is None,
        every_cycle=table.every_cycle,
        permit=indices.quantity(table.permit),
        feedback=indices.quantity(table.feedback),
        unconfirmed=mode((*path, "unconfirmed"), table.unconfirmed, table.shown),
        output=indices.quantities[table.output],
        shown=indices.quantity(table.shown),
    )
