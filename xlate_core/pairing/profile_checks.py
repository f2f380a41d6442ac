"""Checks of counter-plus-CRC profiles: their keys, and the layout they stand in."""

from xlate_core.pairing.context import Context
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.protection_checks import check_plain
from xlate_core.pairing.schema_profiles import NIBBLE, ProfileTable, ReceivedProfileTable
from xlate_core.protection.profiles import GROWING, LIST_LENGTH, LISTED, MODULO
from xlate_core.signals import SignalSpec

MODES = {1: ("both", "alternating", "low", "nibble"), 11: ("both", "nibble")}
MOST_ID = {"low": 0xFF, "nibble": 0xFFF}  # others 0xFFFF


def check_profiles(context: Context) -> None:
    """Collect every profile that cannot work."""
    for path, message, profile in context.profiles():
        _check_ids(context, path, profile)
        _check_mode(context, path, profile)
        _check_places(context, path, message, profile)
        if isinstance(profile, ReceivedProfileTable):
            _check_received(context, path, message, profile)
    for path, message, counter, checksum in context.protections():
        kind, bus = path[0], path[1]
        tables = context.file.receive if kind == "receive" else context.file.transmit
        if tables[bus][message.name].profile is None:  # type: ignore[index]
            continue
        for key, table in (("counter", counter), ("checksum", checksum)):
            if table is not None:
                found = f"a {key} beside a profile"
                context.collector.add((*path, key), found, "one of both: a profile has its own")
    for path, bus, message in context.received():
        received = context.file.receive[bus][message.name]  # type: ignore[index]
        if received.allow_short and received.profile is not None:
            expected = "false: a protected message is whole or nothing"
            context.collector.add((*path, "allow_short"), "true", expected)


def _check_ids(context: Context, path: KeyPath, profile: ProfileTable) -> None:
    add = context.collector.add
    number = profile.number
    if number in LISTED:
        if profile.data_id is not None:
            add((*path, "data_id"), str(profile.data_id), f"data_ids: profile {number} has a list")
        if len(profile.data_ids) != LIST_LENGTH:
            found = f"{len(profile.data_ids)} data IDs"
            add((*path, "data_ids"), found, f"{LIST_LENGTH}, one for each counter")
        elif not all(0 <= one <= 0xFF for one in profile.data_ids):
            add((*path, "data_ids"), "a value beyond an octet", "octets, 0..255")
        return
    if profile.data_ids:
        add((*path, "data_ids"), "a list", f"data_id: profile {number} has a single one")
    most = MOST_ID.get(profile.data_id_mode or "", 0xFFFF)
    if profile.data_id is None:
        add((*path, "data_id"), "no such key", f"the data ID, 0..0x{most:X}")
    elif profile.data_id > most:
        found = f"0x{profile.data_id:X}"
        add((*path, "data_id"), found, f'at most 0x{most:X} in mode "{profile.data_id_mode}"')


def _check_mode(context: Context, path: KeyPath, profile: ProfileTable) -> None:
    add = context.collector.add
    modes, mode = MODES.get(profile.number), profile.data_id_mode
    if modes is None:
        if mode is not None:
            found = f'"{mode}"'
            add((*path, "data_id_mode"), found, f"no such key: profile {profile.number} has none")
    elif mode not in modes:
        found = "no such key" if mode is None else f'"{mode}"'
        add((*path, "data_id_mode"), found, f"one of {', '.join(modes)}")
    if mode == "nibble" and profile.nibble is None:
        add((*path, "nibble"), "no such key", "the signal that carries bits 11..8 of the data ID")
    elif mode != "nibble" and profile.nibble is not None:
        add((*path, "nibble"), f'"{profile.nibble}"', 'no such key without data_id_mode = "nibble"')


def _check_places(
    context: Context, path: KeyPath, message: DbcMessage, profile: ProfileTable
) -> None:
    """Collect signals that are not where the profile has them."""
    names = profile.signals()
    if len(set(names)) < len(names):
        context.collector.add(path, "one signal for two parts", "a signal of its own for each")
        return
    found = {}
    for key in ("checksum", "counter", "nibble"):
        name = getattr(profile, key)
        signal = message.signal(name) if name is not None else None
        if signal is not None:
            check_plain(context, (*path, key), signal)
            found[key] = signal.spec
    if "checksum" not in found or "counter" not in found:
        return
    number, checksum = profile.number, found["checksum"]
    first = min(checksum.bits) // 8
    size = 2 if number == 5 else 1
    wanted = set(range(8 * first, 8 * (first + size)))
    if checksum.bits != wanted or (size == 2 and not checksum.intel):
        expected = "two whole octets, Intel" if size == 2 else "one whole octet"
        _wrong_place(context, (*path, "checksum"), checksum, expected)
        return
    if number == 2 and first != 0:
        _wrong_place(context, (*path, "checksum"), checksum, "octet 0 in profile 2")
    if number == 5:
        _expect(context, (*path, "counter"), found["counter"], 8 * (first + 2), 8)
    elif number == 1:
        _expect_nibble(context, (*path, "counter"), found["counter"])
    else:
        _expect(context, (*path, "counter"), found["counter"], 8 * (first + 1), NIBBLE)
    if "nibble" in found and number == 1:
        _expect_nibble(context, (*path, "nibble"), found["nibble"])
    elif "nibble" in found:
        _expect(context, (*path, "nibble"), found["nibble"], 8 * (first + 1) + NIBBLE, NIBBLE)


def _expect(context: Context, path: KeyPath, signal: SignalSpec, bit: int, length: int) -> None:
    if signal.bits != set(range(bit, bit + length)):
        half = {0: "low half of ", NIBBLE: "high half of "}[bit % 8] if length == NIBBLE else ""
        expected = f"the {half}octet {bit // 8}, {length} bit, behind the CRC"
        _wrong_place(context, path, signal, expected)


def _expect_nibble(context: Context, path: KeyPath, signal: SignalSpec) -> None:
    first = min(signal.bits)
    if first % NIBBLE or signal.bits != set(range(first, first + NIBBLE)):
        _wrong_place(context, path, signal, "one half of an octet, 4 bit")


def _wrong_place(context: Context, path: KeyPath, signal: SignalSpec, expected: str) -> None:
    found = f"{signal.name} of {signal.length} bit at start bit {signal.start}"
    context.collector.add(path, found, expected)


def _check_received(
    context: Context, path: KeyPath, message: DbcMessage, profile: ReceivedProfileTable
) -> None:
    add = context.collector.add
    number, modulo = profile.number, MODULO[profile.number]
    if profile.max_step >= modulo:
        add((*path, "max_step"), str(profile.max_step), f"at most {modulo - 1} in profile {number}")
    for key in ("max_without_new", "sync_checks"):
        value = getattr(profile, key)
        if number in GROWING and value is None:
            add((*path, key), "no such key", f"a number of checks: profile {number} has no default")
        elif number not in GROWING and value is not None:
            add((*path, key), str(value), f"no such key: profile {number} has none")
    period = profile.period_ms if profile.period_ms is not None else message.cycle_ms
    tick = context.file.clock.tick_ms
    if not period:
        expected = f"period_ms, or a cycle time of {message.name} in the DBC"
        add((*path, "period_ms"), "no period", expected)
    elif period % tick:
        expected = (
            f"a multiple of {tick} ms: {period // tick * tick} or {(period // tick + 1) * tick}"
        )
        if profile.period_ms is None:  # one that is given is judged with all durations
            add((*path, "period_ms"), f"the DBC's cycle time {period}", expected)
    machine = profile.machine
    if machine is None:
        return
    for key in ("init", "valid", "invalid"):
        limit = getattr(machine, key)
        for part in ("min_ok", "max_errors"):
            if getattr(limit, part) > machine.window:
                where = (*path, "machine", key, part)
                add(where, str(getattr(limit, part)), f"at most the window, {machine.window}")
    if machine.older_mapping and number not in GROWING:
        add((*path, "machine", "older_mapping"), "true", f"false: profile {number} has one mapping")
