"""An invented network and a drive into the frames of a log."""

from collections.abc import Callable

import numpy as np

from tools.logs.bits import extract, insert, words
from tools.logs.checksums import catalogue_function
from tools.logs.synthetic.driving import Series
from tools.logs.synthetic.truth import (
    Role,
    Sending,
    TrueChecksum,
    TrueMessage,
    TrueNetwork,
)
from tools.logs.table import Array, FrameTable, in_time_order, joined, zeros
from xlate_core.errors import InputError
from xlate_core.protection.checksums import ChecksumKind, general_sum
from xlate_core.protection.crc import CRC_CATALOGUE, crc_function


def render(
    network: TrueNetwork, series: dict[str, Series], duration_s: float, seed: int, start_us: int = 0
) -> FrameTable:
    """Return the log of a network over a drive; frames of one bus never share a time."""
    parts = []
    for number, message in enumerate(network.messages):
        chance = np.random.default_rng((seed, number))
        parts.append(_message(message, network, series, int(duration_s * 1_000_000), chance))
    table = in_time_order(joined([part for part in parts if len(part)]))
    for bus in range(len(network.channels)):
        mine = table.bus == bus
        table.time_us[mine] = _one_after_the_other(table.time_us[mine])
    table.time_us[:] += start_us
    return in_time_order(table)


def _message(
    message: TrueMessage,
    network: TrueNetwork,
    series: dict[str, Series],
    duration_us: int,
    chance: np.random.Generator,
) -> FrameTable:
    times, due = _times(message, duration_us, chance)
    data = _payloads(message, series, times, chance)
    sent = _sent(message, times, data, due)
    times, data = times[sent], data[sent]
    number = np.arange(len(times))
    if message.counter is not None:
        first = int(chance.integers(0, message.counter.modulo))
        insert(message.counter.place, data, (number + first) % message.counter.modulo)
    if message.checksum is not None:
        _seal(message, message.checksum, data)
    arrived = chance.integers(0, 1000, len(times)) >= message.lost_per_mille
    times, data = times[arrived], data[arrived]
    if message.jitter_us:
        times = times + chance.integers(0, message.jitter_us + 1, len(times))
    table = zeros(len(times), network.channels)
    table.time_us[:] = times
    table.bus[:] = message.key.bus
    table.identifier[:] = message.key.identifier
    table.extended[:] = message.key.extended
    table.length[:] = message.length
    table.data[:] = data
    return table


def _times(
    message: TrueMessage, duration_us: int, chance: np.random.Generator
) -> tuple[Array, Array]:
    """Return the times at which the message may be sent, and which are on its period."""
    if message.sending is Sending.CYCLIC:
        times = np.arange(message.first_us, duration_us, message.period_us)
        return times, np.ones(len(times), np.bool_)
    step = 10_000
    times = np.arange(message.first_us, duration_us, step)
    on_period = (np.arange(len(times)) * step) % message.period_us == 0
    if message.sending is Sending.CHANGE:
        on_period = np.arange(len(times)) == 0
    return times, on_period


def _sent(message: TrueMessage, times: Array, data: Array, due: Array) -> Array:
    """Return which of the possible times are used: the period, and a changed payload."""
    if message.sending is Sending.CYCLIC:
        return due
    payload = words(data)
    changed = np.diff(payload, prepend=payload[:1]) != 0
    return np.asarray(due | changed)


def _payloads(
    message: TrueMessage, series: dict[str, Series], times: Array, chance: np.random.Generator
) -> Array:
    data = np.zeros((len(times), 8), np.uint8)
    selector = message.selector
    paths = sorted({each.path for each in message.fields if each.path is not None})
    chosen = np.zeros(len(times), np.int64)
    if selector is not None:
        chosen = np.array(paths, np.int64)[np.arange(len(times)) % len(paths)]
    for each in message.fields:
        if each.role is Role.SELECTOR:
            insert(each.place, data, chosen)
            continue
        raw = _raw(each.role, each, series, times, chance)
        if each.path is None:
            insert(each.place, data, raw)
        else:
            mine = chosen == each.path
            part = data[mine]
            insert(each.place, part, raw[mine])
            data[mine] = part
    return data


def _raw(
    role: Role, each: "object", series: dict[str, Series], times: Array, chance: np.random.Generator
) -> Array:
    from tools.logs.synthetic.truth import TrueField

    assert isinstance(each, TrueField)
    if role is Role.CONSTANT:
        return np.full(len(times), each.constant, np.int64)
    if role is Role.STATE:
        return _states(each.place.length, times, chance)
    values = series[each.series].at(times)
    raw = np.round((values - each.offset) / each.factor).astype(np.int64)
    low = -(1 << (each.place.length - 1)) if each.place.signed else 0
    high = low + (1 << each.place.length) - 1
    return np.clip(raw, low, high)


def _states(bits: int, times: Array, chance: np.random.Generator) -> Array:
    """Return a switch or selector that holds each state for some seconds."""
    if not len(times):
        return np.zeros(0, np.int64)
    end = float(times[-1]) + 1
    count = max(2, int(end / 6_000_000))
    changes = np.sort(chance.uniform(0, end, count))
    states = chance.integers(0, min(1 << bits, 6), count + 1)
    states[1::2] = np.where(states[1::2] == states[:-1:2][: len(states[1::2])],
                            (states[1::2] + 1) % (1 << bits), states[1::2])  # fmt: skip
    return np.asarray(states[np.searchsorted(changes, times)], np.int64)


def _seal(message: TrueMessage, spec: TrueChecksum, data: Array) -> None:
    """Put in the checksums, one payload after the other with the plain functions."""
    own = sorted({place // 8 for place in spec.place.places()})
    covered = [
        octet
        for octet in range(spec.first_octet, spec.last_octet + 1)
        if octet not in own or spec.place.length < 8
    ]
    function = _function(spec.family)
    counters = np.zeros(len(data), np.int64)
    if message.counter is not None and len(spec.after) > 1:
        counters = extract(message.counter.place, data)
    insert(spec.place, data, np.zeros(len(data), np.int64))
    octets = data[:, covered].tobytes()
    width = len(covered)
    sums = np.zeros(len(data), np.int64)
    for row, counter in enumerate(counters.tolist()):
        after = spec.after[counter % len(spec.after)] if spec.after else b""
        sums[row] = function(spec.before + octets[row * width : (row + 1) * width] + after)
    insert(spec.place, data, sums)


def _function(family: str) -> Callable[[bytes], int]:
    def xor8(octets: bytes) -> int:
        result = 0
        for octet in octets:
            result ^= octet
        return result

    simple: dict[str, Callable[[bytes], int]] = {
        "xor8": xor8,
        "xor4": lambda octets: xor8(octets) & 15 ^ xor8(octets) >> 4,
        "sum8": lambda octets: sum(octets) & 0xFF,
        "sum8 inverted": lambda octets: ~sum(octets) & 0xFF,
    }
    if family in simple:
        return simple[family]
    if family.startswith("sum"):
        kind = ChecksumKind(family.replace(" ", "_"))
        return lambda octets: general_sum(kind, octets)
    if family in CRC_CATALOGUE:
        return crc_function(CRC_CATALOGUE[family])
    try:
        return catalogue_function(family)
    except KeyError:
        raise InputError(f"no log can be made with the checksum {family}") from None


def _one_after_the_other(times: Array) -> Array:
    """Return rising times at least 120 us apart: a bus carries one frame at a time."""
    gap = 120
    number = np.arange(len(times)) * gap
    return np.asarray(np.maximum.accumulate(times - number) + number)
