"""The network of a pairing as its car and its controllers would send it, with its known truth."""

from tools.logs.bits import Field
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
from xlate_core.frames import BUS_NAMES, FrameKey
from xlate_core.pairing import DbcMessage, DbcSignal, Pairing
from xlate_core.protection import ChecksumSpec, CounterSpec
from xlate_core.signals import SignalSpec

_BY_UNIT = {
    "rpm": "engine_speed",
    "km/h": "road_speed",
    "degC": "coolant",
    "%": "pedal",
    "Nm": "torque",
    "deg": "steering_angle",
    "deg/s": "yaw_rate",
    "m/s2": "acceleration",
    "V": "voltage",
    "bar": "oil_pressure",
}
_LONGEST_STATE = 3
_LONGEST_VALUE = 32


def network_of(pairing: Pairing, series: dict[str, Series]) -> TrueNetwork:
    """Return every cyclic message of both databases, filled with a drive.

    Signals follow the series of their unit, scaled into their own range where the unit tells none.
    Counters and checksums are those the pairing checks or seals.
    """
    protection: dict[FrameKey, tuple[CounterSpec | None, ChecksumSpec | None]] = {}
    for received in pairing.spec.messages:
        protection[received.key] = (received.counter, received.checksum)
    for sent in pairing.spec.transmits:
        protection[sent.key] = (sent.counter, sent.checksum)
    made: list[TrueMessage] = []
    for bus, messages in enumerate(pairing.databases.values()):
        for message in messages:
            if message.cycle_ms:
                counter, checksum = protection.get(message.key, (None, None))
                made.append(_message(bus, message, counter, checksum, series, len(made)))
    return TrueNetwork(tuple(BUS_NAMES), tuple(made), tuple(sorted(series)))


def _message(
    bus: int,
    message: DbcMessage,
    counter: CounterSpec | None,
    checksum: ChecksumSpec | None,
    series: dict[str, Series],
    number: int,
) -> TrueMessage:
    assert message.cycle_ms is not None
    protecting = {spec.signal.name for spec in (counter, checksum) if spec is not None}
    fields = [
        _field(signal, series, number + place)
        for place, signal in enumerate(message.signals)
        if signal.name not in protecting and not signal.is_float
    ]
    period_us = message.cycle_ms * 1000
    return TrueMessage(
        Key(bus, message.identifier, message.extended),
        message.name,
        message.length,
        Sending.CYCLIC,
        period_us,
        period_us // 100,
        0,
        tuple(fields),
        None if counter is None else TrueCounter(_place(counter.signal), counter.modulo),
        None if checksum is None else _checksum(checksum),
        (number % message.cycle_ms) * 1000,
    )


def _place(spec: SignalSpec) -> Field:
    return Field(spec.start, spec.length, not spec.intel, spec.signed)


def _field(signal: DbcSignal, series: dict[str, Series], number: int) -> TrueField:
    place = _place(signal.spec)
    path = signal.selected_by[0][0] if signal.selected_by else None
    if signal.is_selector:
        return TrueField(signal.name, place, Role.SELECTOR)
    if place.length <= _LONGEST_STATE:
        return TrueField(signal.name, place, Role.STATE, path=path)
    if place.length > _LONGEST_VALUE:
        return TrueField(signal.name, place, Role.CONSTANT, path=path)
    name = _BY_UNIT.get(signal.unit)
    if name is not None:
        factor, offset = float(signal.factor), float(signal.offset)
        return TrueField(signal.name, place, Role.VALUE, name, factor, offset, path)
    chosen = series[sorted(series)[number % len(series)]]
    low, high = signal.raw_range()
    factor = (chosen.high - chosen.low) / max(1, high - low)
    offset = chosen.low - low * factor
    return TrueField(signal.name, place, Role.VALUE, chosen.name, factor, offset, path)


def _checksum(spec: ChecksumSpec) -> TrueChecksum:
    family = spec.kind.value.replace("_", " ") if spec.crc is None else spec.crc.name
    after: tuple[bytes, ...] = (spec.after,) if spec.after else ()
    if spec.values:
        after = tuple(bytes((value,)) for value in spec.values)
    place = _place(spec.signal)
    return TrueChecksum(place, family, spec.first_octet, spec.last_octet, spec.before, after)
