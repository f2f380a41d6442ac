"""One block of the compact store: rows to octets and back, nothing lost.

A block holds its frames message by message ("kind of row": bus, identifier, format, kind, length).
Of each message the times are differences of differences from its median step, and every octet
column the difference (modulo 256) from the same octet of the frame before: what a bus repeats
becomes zeros, and what counts becomes a constant. The order on the bus follows from the times;
frames of one time keep their order through a list of exceptions.
"""

import struct
from typing import Any

import numpy as np

from tools.logs.table import MAX_OCTETS, Array, FrameTable, zeros

_BLOCK_HEAD = struct.Struct("<IIIq")


def encode_block(table: FrameTable) -> bytes:
    """Return the octets of a block before compression; the rows are in the order of time."""
    codes = _row_codes(table)
    kinds, inverse = np.unique(codes, return_inverse=True)
    order = np.argsort(inverse, kind="stable")
    counts = np.bincount(inverse, minlength=len(kinds)).astype(np.uint32)
    starts = np.concatenate(([0], np.cumsum(counts)[:-1])).astype(np.int64)
    base = int(table.time_us[0])
    times = table.time_us[order] - base
    steps, medians, firsts = _time_steps(times, starts, counts)
    width, packed = _narrow(steps)
    ties = _tie_order(table.time_us[order], order)
    data = _octet_steps(table.data[order], starts)
    head = _BLOCK_HEAD.pack(len(table), len(kinds), len(ties), base)
    parts = [head, bytes((width,)), kinds.tobytes(), counts.tobytes()]
    parts += [medians.tobytes(), firsts.tobytes(), packed, ties.tobytes()]
    lengths = (kinds >> np.uint64(34)) & np.uint64(15)
    reach = np.repeat(lengths.astype(np.int64), counts)
    parts += [data[reach > octet, octet].tobytes() for octet in range(MAX_OCTETS)]
    return b"".join(parts)


def decode_block(octets: bytes, channels: tuple[str, ...]) -> FrameTable:
    """Return the rows of a block."""
    rows, kind_count, tie_count, base = _BLOCK_HEAD.unpack_from(octets)
    width = octets[_BLOCK_HEAD.size]
    place = _BLOCK_HEAD.size + 1

    def take(kind: Any, count: int) -> Array:
        nonlocal place
        taken = np.frombuffer(octets, kind, count, place)
        place += taken.nbytes
        return taken

    kinds = take("<u8", kind_count)
    counts = take("<u4", kind_count).astype(np.int64)
    medians = take("<i8", kind_count)
    firsts = take("<i8", kind_count)
    planes = take("u1", rows * width).reshape(width, rows)
    ties = take("<u4", tie_count)
    starts = np.concatenate(([0], np.cumsum(counts)[:-1])).astype(np.int64)
    lengths = ((kinds >> np.uint64(34)) & np.uint64(15)).astype(np.uint8)
    reach = np.repeat(lengths, counts)
    times = _times(_widen(planes), medians, firsts, starts, counts)
    data = np.zeros((MAX_OCTETS, rows), np.uint8)
    for octet in range(MAX_OCTETS):
        inside = reach > octet
        column = data[octet]
        column[inside] = take("u1", int(np.count_nonzero(inside)))
        total = np.cumsum(column, dtype=np.uint8)
        before = np.where(starts > 0, total[starts - 1], 0).astype(np.uint8)
        data[octet] = (total - np.repeat(before, counts)) * inside
    order = np.argsort(times, kind="stable")
    if tie_count:
        order = _apply_ties(times[order], order, ties)
    table = zeros(rows, channels)
    whole = np.repeat(kinds, counts)[order]
    table.time_us[:] = times[order] + base
    table.identifier[:] = whole & np.uint64(0x1FFF_FFFF)
    table.extended[:] = (whole >> np.uint64(31)) & np.uint64(1)
    table.kind[:] = (whole >> np.uint64(32)) & np.uint64(3)
    table.length[:] = reach[order]
    table.bus[:] = whole >> np.uint64(40)
    table.data[:] = data.T[order]
    return table


def _row_codes(table: FrameTable) -> Array:
    code = table.identifier.astype(np.uint64)
    code |= table.extended.astype(np.uint64) << np.uint64(31)
    code |= table.kind.astype(np.uint64) << np.uint64(32)
    code |= table.length.astype(np.uint64) << np.uint64(34)
    return code | (table.bus.astype(np.uint64) << np.uint64(40))


def _time_steps(times: Array, starts: Array, counts: Array) -> tuple[Array, Array, Array]:
    """Return, message by message, steps less their median; the first of each is zero."""
    steps = np.diff(times, prepend=times[:1])
    steps[starts] = 0
    medians = np.zeros(len(starts), np.int64)
    for number, (start, count) in enumerate(zip(starts, counts, strict=True)):
        if count > 1:
            medians[number] = int(np.median(steps[start + 1 : start + int(count)]))
    steps -= np.repeat(medians, counts)
    steps[starts] = 0
    return steps, medians, times[starts].astype(np.int64)


def _times(steps: Array, medians: Array, firsts: Array, starts: Array, counts: Array) -> Array:
    steps = steps + np.repeat(medians, counts)
    steps[starts] = firsts
    total = np.cumsum(steps)
    before = np.where(starts > 0, total[starts - 1], 0)
    return np.asarray(total - np.repeat(before, counts))


def _narrow(steps: Array) -> tuple[int, bytes]:
    """Return signed numbers as octet planes of the smallest width, sign in the lowest bit."""
    folded = ((steps << 1) ^ (steps >> 63)).astype(np.uint64)
    width = max(1, (int(folded.max()).bit_length() + 7) // 8)
    octets = folded.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :width]
    return width, np.ascontiguousarray(octets.T).tobytes()


def _widen(planes: Array) -> Array:
    whole = np.zeros((planes.shape[1], 8), np.uint8)
    whole[:, : planes.shape[0]] = planes.T
    folded = whole.view("<u8").reshape(-1)
    half = (folded >> np.uint64(1)).astype(np.int64)
    return np.asarray(half ^ -(folded & np.uint64(1)).astype(np.int64))


def _tie_order(times: Array, order: Array) -> Array:
    """Return the ranks of frames of equal times, in message order, where they are not in order."""
    by_time = np.argsort(times, kind="stable")
    sorted_times, rows = times[by_time], order[by_time]
    if bool(np.all(np.diff(rows) > 0)):
        return np.zeros(0, "<u4")
    tied = _tied(sorted_times)
    group = np.cumsum(np.diff(sorted_times, prepend=sorted_times[:1]) != 0)
    first = np.searchsorted(group, group)
    return np.asarray((rows - first)[tied], "<u4")


def _apply_ties(sorted_times: Array, order: Array, ranks: Array) -> Array:
    tied = np.flatnonzero(_tied(sorted_times))
    group = np.cumsum(np.diff(sorted_times, prepend=sorted_times[:1]) != 0)
    first = np.searchsorted(group, group[tied])
    result = order.copy()
    result[first + ranks] = order[tied]
    return result


def _tied(sorted_times: Array) -> Array:
    same = np.diff(sorted_times) == 0
    return np.asarray(np.append(same, False) | np.insert(same, 0, False))


def _octet_steps(data: Array, starts: Array) -> Array:
    steps = data.copy()
    steps[1:] -= data[:-1]
    steps[starts] = data[starts]
    return steps
