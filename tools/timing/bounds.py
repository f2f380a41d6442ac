"""Bounds of reaction time and data age for one way through the bridge.

Terms, all at their worst:

    T     period of the source message (traffic table or database)
    R     response time of a message on its bus, release jitter included (see `response`)
    W     ticks from the arrival of a frame to its first effect: the wait for the tick, for the
          control tick when a function is on the way, for the next due tick of the sent message
    own   what is waited for on purpose: the debounce of the pin, the hold of the lost quantity, a
          frame more when plausibility refuses the first, and what functions on the way take for the
          very step observed (dwell, hysteresis ...), as the reference does it; in ticks
    D     deadline of the lost unit; of several that reach the target the longest
    X     longest execution time of a tick on the board
    s     relative clock error of every node

    reaction time, signal to signal    (T + W * tick) * (1 + s) + R_source + R_target
    reaction time, signal to pin       (T + W * tick) * (1 + s) + R_source + X
    reaction time, pin to ...          the same without T and R_source
    routed message                     R_target, whose jitter holds R_source, tick and X; from the
                                       queueing of the original to the end of the copy
    fault to safe state                (D * tick + W * tick) * (1 + s) + R_target, or + X

The change comes right after the source queued its frame, so the next frame, T later, carries it.
A frame that arrives right after a tick is taken by the next one: that is the 1 in W.

    data age, signal to signal         (T + A * tick) * (1 + s) + R_source + R_target

A is the largest number of ticks from the control tick (or tick) whose values a sent frame carries
to the due tick of the frame after it, plus 1: just before the newer frame is on the bus, the older
one is the newest value there is. A message that is sent on change only has no bound of age.

The scheme, sampling delay plus response of every stage, is that of Davare, Zhu, Di Natale, Pinello,
Kanajan and Sangiovanni-Vincentelli, "Period optimization for hard real-time distributed automotive
systems", DAC 2007; reaction time and data age are told apart as in Feiertag, Richter, Nordlander
and Jonsson, "A compositional framework for end-to-end path delay calculation of automotive systems
under different path semantics", CRTS 2008 (both from memory). Times are exact fractions of a us.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from tools.timing.board_time import board_time
from tools.timing.paths import Path, PathKind
from tools.timing.streams import CHANGES, bus_timings, streams_of
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing import Pairing
from xlate_core.reception import NO_CONDITION
from xlate_core.transmission import OnLoss, TransmitSpec


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a bound, for the bar of the report."""

    what: str
    us: Fraction


@dataclass(frozen=True, slots=True)
class Bound:
    """A bound in us, made of parts that add up to it."""

    parts: tuple[Part, ...]

    @property
    def us(self) -> Fraction:
        """The whole."""
        return sum((part.us for part in self.parts), Fraction(0))


class Bounds:
    """The bounds of all ways of one pairing."""

    def __init__(self, pairing: Pairing, starts: dict[str, int]):
        """Analyse both buses; `starts`: a due tick of every sent message after a normal start."""
        self.pairing = pairing
        self.starts = starts
        self.skew = Fraction(pairing.traffic.skew_ppm, 1_000_000)
        self.tick_us = pairing.spec.tick_ms * 1000
        self.responses = {
            f"{timing.bus}.{one.stream.name}": one
            for timing in bus_timings(pairing, skewed=True)
            for one in timing.responses
        }
        self.periods = {
            f"{bus}.{one.name}": one.period_us
            for number, bus in enumerate(BUS_NAMES)
            for one in streams_of(pairing, number)
        }
        self.transmits = {_full_name(pairing, one): one for one in pairing.spec.transmits}
        self.units = {
            source.name.split(" as ")[0]: pairing.spec.units[source.unit]
            for source in pairing.spec.sources
            if source.unit >= 0
        }

    def reaction(self, path: Path, own: int) -> Bound | None:
        """Return the bound of the first change's first effect; None when a response has none."""
        parts: list[Part] = []
        if path.kind is PathKind.ROUTE:
            target = self._response(path.target)
            if target is None:
                return None
            return Bound((Part("both buses and the tick", target),))
        if path.kind in (PathKind.LOSS_SIGNAL, PathKind.LOSS_PIN):
            parts.append(self._stretched("deadline", self.deadline(path) * self.tick_us))
        elif path.source_message is not None:
            source = self._response(path.source_message)
            if source is None:
                return None
            parts.append(self._stretched("source period", self._period_us(path.source_message)))
            parts.append(Part("source bus", source))
        parts.append(self._stretched("ticks and schedule", self.wait(path, own) * self.tick_us))
        if own:
            parts.append(self._stretched("function's own", own * self.tick_us))
        if path.target_message is None or self.stops(path):
            parts.append(Part("board", Fraction(board_time(self.pairing).us)))
            return Bound(tuple(parts))
        response = self._response(path.target_message, self.on_change(path))
        if response is None:
            return None
        return Bound((*parts, Part("target bus", response)))

    def age(self, path: Path) -> Bound | None:
        """Return the bound of the age of the newest value on the target bus; None without one."""
        if path.kind is not PathKind.SIGNAL_SIGNAL:
            return None
        transmit = self.transmits[str(path.target_message)]
        source = self._response(str(path.source_message))
        target = self._response(str(path.target_message))
        if not transmit.period or source is None or target is None:
            return None
        control = self.pairing.spec.control_ticks if path.functions else 1
        ticks = 0
        for start in self._starts(transmit):
            for due in range(start, start + lcm(control, transmit.period), transmit.period):
                carried = due - due % control - path.late * control
                ticks = max(ticks, due + transmit.period - carried + 1)
        period = self._period_us(str(path.source_message))
        return Bound(
            (
                self._stretched("source period", period),
                Part("source bus", source),
                self._stretched("ticks and schedule", ticks * self.tick_us),
                Part("target bus", target),
            )
        )

    def wait(self, path: Path, own: int = 0) -> int:
        """Return W without the function's own ticks: arrival right after a tick to the effect."""
        return max(
            self.shows(path, arrival, own, start) - own - arrival + 1
            for start in self.target_starts(path)
            for arrival in range(self.pattern(path))
        )

    def pattern(self, path: Path) -> int:
        """Return after how many ticks control ticks and due ticks lie the same again."""
        control = self.pairing.spec.control_ticks if path.functions else 1
        transmit = self.transmits.get(path.target_message or "")
        return lcm(control, transmit.period if transmit is not None and transmit.period else 1)

    def target_starts(self, path: Path) -> list[int]:
        """Return the due ticks of the sent message, modulo its period, to be allowed for."""
        transmit = self.transmits.get(path.target_message or "")
        return [0] if transmit is None else self._starts(transmit)

    def shows(self, path: Path, arrival: int, own: int = 0, start: int | None = None) -> int:
        """Return the last tick in which what the tick `arrival` took may first be handed over."""
        control = self.pairing.spec.control_ticks if path.functions else 1
        done = -(-(arrival + own) // control) * control + path.late * control
        transmit = self.transmits.get(path.target_message or "")
        if transmit is None or self.stops(path):
            return done
        due = self.starts.get(str(path.target_message), 0) if start is None else start
        sent = done + (due - done) % transmit.period if transmit.period else done + (1 << 40)
        if transmit.on_change:
            sent = min(sent, done + max(transmit.min_gap - 1, 0))
        return sent

    def shows_after_periodic(self, path: Path, arrival: int, own: int = 0) -> int:
        """Return the tick in which it is handed over when only periodic frames went before.

        `shows` allows for the last frame right before; this one asks when that is so.
        """
        control = self.pairing.spec.control_ticks if path.functions else 1
        done = -(-(arrival + own) // control) * control + path.late * control
        transmit = self.transmits.get(path.target_message or "")
        if transmit is None or not transmit.on_change or not transmit.period or self.stops(path):
            return self.shows(path, arrival, own)
        due = self.starts.get(str(path.target_message), 0)
        last = done - 1 - (done - 1 - due) % transmit.period
        return min(self.shows(path, arrival, own), max(done, last + transmit.min_gap))

    def stops(self, path: Path) -> bool:
        """Return whether the way is a loss whose effect is that the message is not sent."""
        if path.kind is not PathKind.LOSS_SIGNAL:
            return False
        return self.transmits[str(path.target_message)].on_loss is OnLoss.STOP

    def on_change(self, path: Path) -> bool:
        """Return whether the sent message answers changes at once."""
        return path.target_message is not None and self.transmits[path.target_message].on_change

    def _starts(self, transmit: TransmitSpec) -> list[int]:
        """Return the due ticks, modulo the period, that have to be allowed for.

        Communication that starts with the power mode starts one tick after a control tick, always.
        A condition that looks at quantities may start it in any tick.
        """
        if not transmit.period:
            return [0]
        start = (self.starts.get(_full_name(self.pairing, transmit), 0)) % transmit.period
        if transmit.condition == NO_CONDITION:
            return [start]
        condition = self.pairing.spec.conditions[transmit.condition]
        if not condition.comparisons and condition.supply_mv is None:
            return [start]
        return list(range(transmit.period))

    def deadline(self, path: Path) -> int:
        """Return the longest cyclic deadline of what the lost message brings on the way, in ticks.

        That of any of its units where the loss stops the sent message.
        """
        spec = self.pairing.spec
        units = [one for one in spec.units if spec.messages[one.message].name == path.source]
        reaching = self.on_the_way(path)
        mine = [
            unit.deadline
            for unit in units
            if any(spec.sources[index].quantity in reaching for index in unit.sources)
        ]
        return max(one.deadline for one in units) if self.stops(path) or not mine else max(mine)

    def on_the_way(self, path: Path) -> set[int]:
        """Return the quantities the first function of a way reads, or its target without one."""
        first = f"function {path.functions[0]}" if path.functions else path.target
        plain = first.replace("output.", "output ")
        return {index for index, one in enumerate(self.pairing.quantities) if plain in one.read_by}

    def _response(self, message: str, on_change: bool = False) -> Fraction | None:
        names = [message, message + CHANGES] if on_change else [message]
        found = [self.responses[name].worst_us for name in names if name in self.responses]
        if not found or any(one is None for one in found):
            return None
        return max(one for one in found if one is not None)

    def _period_us(self, message: str) -> int:
        return self.periods[message]

    def period_ticks(self, message: str) -> int:
        """Return the period of a message in whole ticks, rounded up."""
        return -(-self._period_us(message) // self.tick_us)

    def _stretched(self, what: str, us: int) -> Part:
        return Part(what, us * (1 + self.skew))


def _full_name(pairing: Pairing, transmit: TransmitSpec) -> str:
    layout = pairing.message_of(transmit.key)
    return f"{BUS_NAMES[transmit.key.bus]}.{layout.name if layout is not None else ''}"
