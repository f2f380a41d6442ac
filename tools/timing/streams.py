"""The streams on both buses of a pairing: what the module sends, routes and hears.

- Others' messages: the period of the database or of the traffic table, jitter of the table.
- Our cyclic messages: their period; jitter is the board's longest tick, because they leave in
  the listed order at the end of it.
- Our event messages: one more stream whose period is the minimum gap (no gap: one tick).
- Routed messages: the period of their origin; jitter is what their own bus may have delayed them,
  plus the tick they wait for. Both buses are worked out in turn until nothing changes.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tools.timing.board_time import board_time
from tools.timing.errors import errors_at_once
from tools.timing.frame_bits import longest_bits
from tools.timing.offsets import Placed
from tools.timing.response import Disturbance, Response, Stream, analyse, load
from xlate_core.frames import BUS_NAMES, FrameKey
from xlate_core.pairing import DbcMessage, Pairing, PairingError, Problem
from xlate_core.pairing.options import split
from xlate_core.pairing.traffic import MessageTraffic

BRIDGE = "bridge"
OTHERS = "others"
CHANGES = " (on change)"
NOTHING_SAID = MessageTraffic(None, None, None, False)
MOST_ROUNDS = 100


@dataclass(frozen=True, slots=True)
class BusTiming:
    """One bus, analysed: `load` is a share of 1, responses from the highest priority down."""

    bus: str
    bit_rate: int
    disturbance: Disturbance
    load: Fraction
    responses: tuple[Response, ...]
    placed: tuple[Placed, ...]

    @property
    def streams(self) -> tuple[Stream, ...]:
        """What was analysed."""
        return tuple(one.stream for one in self.responses)


def bus_timings(
    pairing: Pairing, rates: Mapping[str, int] | None = None, skewed: bool = False
) -> tuple[BusTiming, ...]:
    """Analyse both buses, at the pairing's bit rates or at others.

    `skewed` lets every clock run fast by the pairing's clock error: shorter periods.

    Raises PairingError for messages without a period, bit rates nobody says, two messages with one
    identifier, or a bus that is asked for more than it can carry.
    """
    refuse_gaps(pairing, rates or {})
    bit_rates = [
        (rates or {}).get(bus, pairing.bus_rates[number]) for number, bus in enumerate(BUS_NAMES)
    ]
    delays: dict[FrameKey, int] = {}
    for _ in range(MOST_ROUNDS):
        streams = [_skewed(pairing, number, delays, skewed) for number in range(len(BUS_NAMES))]
        pairing.refuse(_overloads(pairing, streams, bit_rates))
        timings = [
            _analyse(pairing, number, one, bit_rates[number]) for number, one in enumerate(streams)
        ]
        found = _route_delays(pairing, timings)
        if found == delays:
            return tuple(timings)
        delays = found
    endless = "delays that grow from bus to bus without end"
    problem = pairing.problem(("route",), endless, "a lower load on both buses")
    raise PairingError([problem], split(pairing.directory)[0])


def refuse_gaps(pairing: Pairing, rates: Mapping[str, int]) -> None:
    """Raise PairingError with all that the analysis needs and nobody says."""
    problems: list[Problem] = []
    for number, bus in enumerate(BUS_NAMES):
        try:
            streams_of(pairing, number)
        except PairingError as error:
            problems += error.problems
        if not pairing.traffic.rates_said[number] and bus not in rates:
            usual = pairing.bus_rates[number]
            expected = f"the bit rate in bit/s; the usual {usual} would bound nothing"
            problems.append(pairing.problem(("bus", bus, "bit_rate"), "no such key", expected))
    pairing.refuse(problems)


def _skewed(
    pairing: Pairing, number: int, delays: Mapping[FrameKey, int], skewed: bool
) -> list[Stream]:
    """Return the streams of a bus; when `skewed` all senders' clocks run fast."""
    streams = streams_of(pairing, number, delays)
    if not skewed:
        return streams
    fast = 1_000_000 - pairing.traffic.skew_ppm
    return [replace(one, period_us=one.period_us * fast // 1_000_000) for one in streams]


def _overloads(
    pairing: Pairing, streams: Sequence[list[Stream]], bit_rates: Sequence[int]
) -> Iterator[Problem]:
    """Yield a problem for each bus that cannot carry what it is asked for."""
    for bus, ours, bit_rate in zip(BUS_NAMES, streams, bit_rates, strict=True):
        share = load(ours, bit_rate)
        if share >= 1:
            heaviest = max(ours, key=lambda one: Fraction(one.bits, one.period_us))
            yield pairing.problem(
                ("bus", bus, "bit_rate"),
                f"a load of {float(100 * share):.1f} % at {bit_rate} bit/s",
                "less than 100 %: a higher bit rate, or longer periods or gaps, "
                f"{heaviest.name} being the heaviest",
            )


def _analyse(pairing: Pairing, number: int, streams: list[Stream], bit_rate: int) -> BusTiming:
    bus, said = BUS_NAMES[number], pairing.traffic.buses[number]
    disturbance = Disturbance(
        0 if said.unknown_octets is None else longest_bits(said.unknown_octets, True),
        errors_at_once(said),
        said.error_interval_us,
    )
    share = load(streams, bit_rate)
    responses = tuple(analyse(streams, bit_rate, disturbance))
    placed = tuple(_placed(pairing, number, streams))
    return BusTiming(bus, bit_rate, disturbance, share, responses, placed)


def _placed(pairing: Pairing, number: int, streams: list[Stream]) -> Iterator[Placed]:
    """Yield our cyclic streams with their offsets; one sending condition starts them together."""
    named = {one.name: one for one in streams if one.sender == BRIDGE}
    for transmit in pairing.spec.transmits:
        layout = pairing.message_of(transmit.key)
        if transmit.key.bus == number and transmit.period and layout is not None:
            offset = transmit.offset * pairing.spec.tick_ms * 1000
            yield Placed(named[layout.name], f"condition {transmit.condition}", offset)


def streams_of(
    pairing: Pairing, number: int, delays: Mapping[FrameKey, int] | None = None
) -> list[Stream]:
    """Return the streams of one bus; `delays` in us by the key a routed message has elsewhere.

    Raises PairingError for messages without a period and for two with one identifier.
    """
    problems: list[Problem] = []
    said = pairing.traffic.buses[number]
    board = board_time(pairing).us
    tick_us = pairing.spec.tick_ms * 1000
    streams: list[Stream] = []
    sent = {one.key: one for one in pairing.spec.transmits if one.key.bus == number}
    routed = dict(routed_to(pairing, number))
    for layout in pairing.databases[BUS_NAMES[number]]:
        if layout.key in routed:
            continue
        transmit = sent.get(layout.key)
        told = said.messages.get(layout.name, NOTHING_SAID)
        if transmit is None:
            jitter = told.jitter_us if told.jitter_us is not None else said.jitter_us
            period = _period(pairing, number, layout, told, problems)
            streams.append(_stream(layout, layout.name, period, jitter, told, OTHERS))
            continue
        jitter = told.jitter_us if told.jitter_us is not None else board
        if transmit.period:
            period = transmit.period * tick_us
            streams.append(_stream(layout, layout.name, period, jitter, told, BRIDGE))
        if transmit.on_change:
            gap = max(transmit.min_gap, 1) * tick_us
            streams.append(_stream(layout, layout.name + CHANGES, gap, jitter, told, BRIDGE))
    for key, (layout, origin) in routed.items():
        told = said.messages.get(layout.name, NOTHING_SAID)
        at_home = pairing.traffic.buses[origin.bus].messages.get(layout.name, NOTHING_SAID)
        period = told.period_us or _period(pairing, origin.bus, layout, at_home, problems)
        late = told.jitter_us
        if late is None:
            late = (delays or {}).get(origin, 0) + tick_us + board
        here = replace(layout, bus=key.bus)
        streams.append(_stream(here, layout.name, period, late, told, BRIDGE))
    pairing.refuse(problems + _collisions(pairing, number, streams))
    return streams


def routed_to(
    pairing: Pairing, number: int
) -> Iterator[tuple[FrameKey, tuple[DbcMessage, FrameKey]]]:
    """Yield what routes bring to a bus: its key there, and layout and key at its origin."""
    for received in pairing.spec.messages:
        layout = pairing.message_of(received.key)
        for route in received.routes:
            if layout is not None and pairing.spec.routes[route].bus == number:
                yield received.key._replace(bus=number), (layout, received.key)


def _period(
    pairing: Pairing,
    number: int,
    layout: DbcMessage,
    told: MessageTraffic,
    problems: list[Problem],
) -> int:
    """Return the least distance of two frames, us; one nobody says is a problem more."""
    if told.period_us is not None:
        return told.period_us
    if layout.cycle_ms:
        return layout.cycle_ms * 1000
    where = layout.file if layout.line is None else f"{layout.file}:{layout.line}"
    problems.append(
        pairing.problem(
            ("traffic", BUS_NAMES[number], "message", layout.name, "period_us"),
            f"no such key and no cycle time in {where}",
            "the least distance of two frames in us",
        )
    )
    return 1_000_000  # any: the problem ends the analysis


def _stream(
    layout: DbcMessage, name: str, period: int, jitter: int, told: MessageTraffic, sender: str
) -> Stream:
    return Stream(
        name=name,
        extended=layout.extended,
        identifier=layout.identifier,
        bits=longest_bits(layout.length, layout.extended),
        period_us=period,
        jitter_us=jitter,
        deadline_us=told.deadline_us or period,
        sender=sender,
        free=told.free_identifier,
    )


def _collisions(pairing: Pairing, number: int, streams: list[Stream]) -> list[Problem]:
    """Return a problem for each message that has the identifier of another."""
    problems = []
    seen: dict[tuple[bool, int], str] = {}
    for one in streams:
        name = one.name.removesuffix(CHANGES)
        other = seen.setdefault((one.extended, one.identifier), name)
        if other != name:
            found = f"{name} and {other} with one identifier 0x{one.identifier:X}"
            path = ("bus", BUS_NAMES[number], "database")
            problems.append(pairing.problem(path, found, "one sender for each"))
    return problems


def _route_delays(pairing: Pairing, timings: list[BusTiming]) -> dict[FrameKey, int]:
    """Return by key of origin how late a routed message may arrive on its own bus, us."""
    delays: dict[FrameKey, int] = {}
    for number in range(len(BUS_NAMES)):
        for _, (_layout, origin) in routed_to(pairing, number):
            for response in timings[origin.bus].responses:
                found = response.stream
                same = (found.extended, found.identifier) == (origin.extended, origin.identifier)
                if same and response.worst_us is not None:
                    delays[origin] = -(
                        -response.worst_us.numerator // response.worst_us.denominator
                    )
    return delays
