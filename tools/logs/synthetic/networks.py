"""Random invented networks from a seed: layouts, periods, counters, checksums, multiplexers."""

import numpy as np

from tools.logs.bits import Field
from tools.logs.checksums import CATALOGUE
from tools.logs.synthetic.driving import Series
from tools.logs.synthetic.truth import (
    Role,
    Sending,
    TrueChecksum,
    TrueCounter,
    TrueField,
    TrueMessage,
    TrueNetwork,
)
from tools.logs.table import Key

PERIODS_MS = (10, 10, 20, 20, 20, 25, 40, 50, 50, 100, 100, 100, 200, 500, 1000)
COUNTERS = ((4, 16), (4, 16), (4, 16), (4, 15), (2, 4), (3, 8), (8, 256), (8, 255), (6, 64))
_WIDTHS = (8, 8, 10, 11, 12, 12, 13, 14, 15, 16, 16)


def random_network(
    seed: int, series: dict[str, Series], messages: int = 24, frames_per_second: int | None = None
) -> TrueNetwork:
    """Return an invented network; the same seed gives the same network.

    With `frames_per_second`, messages are added until about that load is reached.
    """
    chance = np.random.default_rng((seed, 77))
    made: list[TrueMessage] = []
    used: set[int] = set()
    load = 0.0
    while len(made) < messages if frames_per_second is None else load < frames_per_second:
        message = _message(chance, len(made), used, series)
        made.append(message)
        load += 1e6 / message.period_us
    return TrueNetwork(("body", "engine"), tuple(made), tuple(sorted(series)))


class _Room:
    """The free bits of a payload; fields are placed whole or not at all."""

    def __init__(self, octets: int) -> None:
        self.octets = octets
        self.taken = 0

    def take(self, field: Field) -> bool:
        mask = field.mask()
        if mask & self.taken or mask >> (8 * self.octets):
            return False
        self.taken |= mask
        return True

    def free_octet(self, octet: int) -> bool:
        return not self.taken >> (8 * octet) & 0xFF


def _message(
    chance: np.random.Generator, number: int, used: set[int], series: dict[str, Series]
) -> TrueMessage:
    extended = bool(chance.random() < 0.15)
    while True:
        identifier = int(chance.integers(0x040, 0x7C0))
        if extended:
            identifier = 0x18F00000 | int(chance.integers(0, 0xFFFF)) << 4
        if identifier not in used:
            used.add(identifier)
            break
    length = int(chance.choice([8, 8, 8, 8, 8, 7, 6, 5, 4]))
    period_us = int(chance.choice(PERIODS_MS)) * 1000
    sending = Sending(
        str(chance.choice([Sending.CYCLIC, Sending.MIXED, Sending.CHANGE], p=[0.82, 0.1, 0.08]))
    )
    if sending is not Sending.CYCLIC:
        period_us = max(period_us, 100_000)
    room = _Room(length)
    motorola = bool(chance.random() < 0.5)
    protected = sending is Sending.CYCLIC and chance.random() < 0.5
    key = Key(int(chance.integers(0, 2)), identifier, extended)
    checksum_place = _checksum_place(chance, room) if protected else None
    counter = _counter(chance, room) if protected or chance.random() < 0.1 else None
    fields: list[TrueField] = []
    if (
        sending is Sending.CYCLIC
        and length >= 6
        and period_us <= 200_000
        and chance.random() < 0.12
    ):
        fields += _paths(chance, room, number, motorola, series)
    quiet = sending is not Sending.CYCLIC
    fields += _fields(chance, room, number, motorola, series, quiet)
    checksum = None
    if checksum_place is not None:
        checksum = _checksum(chance, checksum_place, length, identifier, counter)
    return TrueMessage(
        key,
        f"MESSAGE_{number}",
        length,
        sending,
        period_us,
        int(period_us * chance.choice([0.0, 0.003, 0.01, 0.04])),
        int(chance.choice([0, 0, 0, 1, 3])),
        tuple(fields),
        counter,
        checksum,
        int(chance.integers(0, period_us // 1000)) * 1000 if sending is Sending.CYCLIC else 0,
    )


def _checksum_place(chance: np.random.Generator, room: _Room) -> Field:
    kind = chance.random()
    if kind < 0.08:
        start = int(chance.choice([0, 8 * room.octets - 4]))
        place = Field(start, 4)
    elif kind < 0.16 and room.octets >= 6:
        place = Field(0, 16, motorola=False)
    else:
        octet = int(chance.choice([0, room.octets - 1, room.octets - 1, room.octets // 2]))
        place = Field(8 * octet, 8)
    room.take(place)
    return place


def _counter(chance: np.random.Generator, room: _Room) -> TrueCounter:
    while True:
        width, modulo = COUNTERS[int(chance.integers(0, len(COUNTERS)))]
        octet = int(chance.integers(0, room.octets))
        shift = int(chance.choice([0, 8 - width]))
        place = Field(8 * octet + shift, width)
        if room.take(place):
            return TrueCounter(place, modulo)


def _paths(
    chance: np.random.Generator,
    room: _Room,
    number: int,
    motorola: bool,
    series: dict[str, Series],
) -> list[TrueField]:
    """Return a selector of two to five paths and their values."""
    width = int(chance.choice([2, 3, 4, 8]))
    count = int(chance.integers(2, min(1 << width, 5) + 1))
    octet = next((o for o in range(room.octets) if room.free_octet(o)), None)
    if octet is None:
        return []
    selector = Field(8 * octet, width)
    room.take(selector)
    free = [o for o in range(room.octets) if room.free_octet(o)]
    pairs = [o for o in free if o + 1 in free]
    if not pairs:
        room.taken &= ~selector.mask()
        return []
    first = pairs[0]
    place = Field(8 * first + (7 if motorola else 0), 16, motorola)
    room.take(place)
    made = [TrueField(f"Selector{number}", selector, Role.SELECTOR)]
    selected = sorted(chance.choice(min(1 << width, 16), count, replace=False).tolist())
    for path in selected:
        name = str(chance.choice(sorted(series)))
        made.append(_value(f"Path{number}_{path}", place, series[name], int(path)))
    return made


def _fields(
    chance: np.random.Generator,
    room: _Room,
    number: int,
    motorola: bool,
    series: dict[str, Series],
    quiet: bool,
) -> list[TrueField]:
    """Return values, states and constants in what is left of the payload."""
    made: list[TrueField] = []
    for octet in range(room.octets):
        wish = chance.random()
        name = f"Field{number}_{octet}"
        if wish < 0.5 and not quiet:
            width = int(chance.choice(_WIDTHS))
            place = Field(8 * octet + (7 if motorola else 0), width, motorola)
            chosen = series[str(chance.choice(sorted(series)))]
            signed = chosen.low < 0 and bool(chance.random() < 0.6)
            place = Field(place.start, width, motorola, signed)
            if room.take(place):
                made.append(_value(name, place, chosen, None))
        elif wish < 0.75:
            place = Field(8 * octet + int(chance.integers(0, 6)), int(chance.choice([1, 1, 2])))
            if room.take(place):
                made.append(TrueField(name, place, Role.STATE))
        elif wish < 0.83:
            made += _switches(chance, room, octet, name)
        elif wish < 0.9 and room.free_octet(octet):
            place = Field(8 * octet, 8)
            room.take(place)
            made.append(
                TrueField(name, place, Role.CONSTANT, constant=int(chance.choice([0, 255, 0x5A])))
            )
    return made


def _switches(chance: np.random.Generator, room: _Room, octet: int, name: str) -> list[TrueField]:
    """Return a row of switches side by side in one octet."""
    first, count = int(chance.integers(0, 5)), int(chance.integers(2, 5))
    made = []
    for bit in range(first, min(8, first + count)):
        place = Field(8 * octet + bit, 1)
        if room.take(place):
            made.append(TrueField(f"{name}_{bit}", place, Role.STATE))
    return made


def _value(name: str, place: Field, series: Series, path: int | None) -> TrueField:
    """Return a field whose raw range just holds the range of its series."""
    steps = (1 << place.length) - 1
    if place.signed:
        reach = max(abs(series.low), abs(series.high))
        factor = _rounded(2 * reach / steps)
        return TrueField(name, place, Role.VALUE, series.name, factor, 0.0, path)
    factor = _rounded((series.high - series.low) / steps)
    return TrueField(name, place, Role.VALUE, series.name, factor, series.low, path)


def _rounded(factor: float) -> float:
    """Return the next larger factor of the kind people choose: 1, 2, 5 times a power of ten."""
    power = 10.0 ** np.floor(np.log10(factor))
    for step in (1, 2, 2.5, 5, 10):
        if step * power >= factor:
            return float(f"{step * power:.6g}")
    return float(f"{10 * power:.6g}")


def _checksum(
    chance: np.random.Generator,
    place: Field,
    length: int,
    identifier: int,
    counter: TrueCounter | None,
) -> TrueChecksum:
    if place.length == 4:
        return TrueChecksum(place, "xor4", 0, length - 1)
    if place.length == 16:
        family = str(chance.choice([c.name for c in CATALOGUE if c.width == 16]))
        return TrueChecksum(place, family, 0, length - 1)
    family = str(
        chance.choice(
            ["xor8", "sum8", "sum8 inverted", *(c.name for c in CATALOGUE if c.width == 8)] * 2
            + ["CRC-8/SAE-J1850", "CRC-8/AUTOSAR"] * 3
        )
    )
    before, after = b"", ()  # type: tuple[bytes, tuple[bytes, ...]]
    fold = chance.random()
    if fold < 0.15:
        before = (identifier & 0xFFFF).to_bytes(2, "big")
    elif fold < 0.45 and family.startswith("CRC"):
        after = (bytes((int(chance.integers(1, 256)),)),)
    elif fold < 0.6 and family.startswith("CRC") and counter is not None and counter.modulo == 16:
        after = tuple(bytes((int(each),)) for each in chance.integers(0, 256, 16))
    return TrueChecksum(place, family, 0, length - 1, before, after)
