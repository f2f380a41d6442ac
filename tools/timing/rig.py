"""The real engine between two modelled buses, with everything else that sends.

The engine is first driven to rest: ignition on, engine running, every value standing still. From
that snapshot each trial starts: senders queue their frames at their own phases and clock errors,
one signal, pin or sender changes, and it is noted when each output first shows it at the end of a
frame on the bus, or at a pin. Times are integers in nanoseconds from the start of the trial.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from heapq import heapify, heappop, heappush
from typing import Any

from hil.vectors.driving import driving_inputs, ignition_sources
from hil.vectors.names import Names, Received, names_of
from hil.vectors.senders import Sender, initial_raw, next_frame, set_signal
from tools.timing.bus_model import BusModel, Offer
from tools.timing.frame_bits import exact_bits, longest_bits
from tools.timing.response import Stream
from tools.timing.streams import OTHERS, streams_of
from xlate_core.bridge import Bridge, Inputs, Outputs, ResetCause
from xlate_core.frames import BUS_NAMES, Frame, FrameKey
from xlate_core.pairing import Pairing
from xlate_core.signals import extract, intel_word
from xlate_core.transmission import OnLoss

MICRO_NS = 1000
WARM_UP_MS = 6000
LEAST_OWN = (1, 3)  # a quarter of the range is where a value rests


@dataclass(frozen=True, slots=True)
class Change:
    """What changes in a trial: a signal's raw value, a pin's level or count, or a silent sender."""

    source: str
    value: int = 0


@dataclass(slots=True)
class Trial:
    """One run. `phases` in ns by stream name of a bus; `clocks` in ppm by stream name.

    - `tick_at` is the instant of the first tick, `bridge_ppm` the error of the bridge's clock;
    - `change` happens at `at` (for a silent sender: no frame is queued from then on);
    - `blocking` (bus, ns): a longest unknown frame of the lowest priority is queued then;
    - `exact` frame lengths, else the longest; `alone`: no other foreign sender than the changing
      one; `babbling`: on both buses somebody sends longest frames of the lowest priority on and on.
    """

    change: Change
    at: int
    until: int
    phases: dict[str, int] = field(default_factory=dict)
    clocks: dict[str, int] = field(default_factory=dict)
    lateness: Callable[[str, int], int] = lambda name, number: 0
    bridge_ppm: int = 0
    blocking: tuple[tuple[int, int], ...] = ()
    exact: bool = True
    alone: bool = False
    babbling: bool = False


@dataclass(slots=True)
class Seen:
    """What a trial showed: first effect by target; largest age by (source message, target)."""

    effects: dict[str, int] = field(default_factory=dict)
    ages: dict[tuple[str, str], int] = field(default_factory=dict)
    arrivals: dict[str, list[int]] = field(default_factory=dict)
    routed: dict[tuple[str, str], list[int]] = field(default_factory=dict)
    queued: dict[str, list[int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shown:
    """A sent message at rest: which bits may be compared, and what they are."""

    name: str
    mask: int
    word: int
    signals: tuple[tuple[str, Any], ...]


class Rig:
    """A pairing at rest, ready for trials."""

    def __init__(self, pairing: Pairing, resting: Iterable[Change] = ()) -> None:
        """Drive the engine to rest and take the snapshot; `resting` are signals' other values."""
        self.pairing = pairing
        self.names: Names = names_of(pairing)
        self.tick_ns = pairing.spec.tick_ms * 1_000_000
        self.bridge = Bridge(pairing.spec)
        self.inputs = driving_inputs(self.names)
        self.streams: dict[str, tuple[int, Stream]] = {}
        for number, bus in enumerate(BUS_NAMES):
            for one in streams_of(pairing, number):
                if one.sender == OTHERS:
                    self.streams[f"{bus}.{one.name}"] = (number, one)
        self.values = {
            name: self._resting(received) for name, received in self.names.received.items()
        }
        for change in resting:
            bus, message, signal = change.source.split(".")
            self.values[f"{bus}.{message}"][signal] = change.value
        self.transmit_names = {
            one.key: f"{BUS_NAMES[one.key.bus]}.{layout.name}"
            for one in pairing.spec.transmits
            if (layout := pairing.message_of(one.key)) is not None
        }
        self.shown: dict[tuple[int, bool, int], Shown] = {}
        self.pins: tuple[tuple[str, int], ...] = ()
        self.counters: dict[str, int] = {}
        self.warm_up: list[tuple[Inputs, tuple[Frame, ...]]] = []
        self._warm_up()
        self.stopping = tuple(
            (index, tuple(signal for signal, _ in self.shown[one.key].signals))
            for index, one in enumerate(pairing.spec.transmits)
            if one.on_loss is OnLoss.STOP and one.key in self.shown
        )
        self.snapshot = self.bridge.image()
        self.first_tick = self.bridge.now
        self.starts = {
            self.transmit_names[spec.key]: slot.due_at
            for spec, slot in zip(pairing.spec.transmits, self.bridge.sender.transmits, strict=True)
            if spec.period
        }

    # AT REST

    def _resting(self, received: Received) -> dict[str, int]:
        """Return raw values at rest: switches as the drive has them, others a quarter up."""
        on = ignition_sources(self.pairing)
        valid = {source.name: source.valid for source in self.pairing.spec.sources}
        sealed = {
            spec.signal.name for spec in (received.counter, received.checksum) if spec is not None
        }
        values = {}
        for signal in received.layout.signals:
            low, high = signal.raw_range()
            full = f"{received.name}.{signal.name}"
            if full in valid:
                low, high = max(low, valid[full][0]), min(high, valid[full][1])
            values[signal.name] = initial_raw(signal)
            if full in on:
                values[signal.name] = max(1, low)
            elif signal.spec.length > LEAST_OWN[1] and signal.name not in sealed:
                values[signal.name] = low + (high - low) // 4
        return values

    def senders(self) -> dict[str, Sender]:
        """Return the senders of all received messages with a rhythm, at rest."""
        found = {}
        for name in self.streams:
            if name in self.names.received:
                received = self.names.received[name]
                sender = Sender(received, dict(self.values[name]))
                sender.counter = self.counters.get(name, 0)
                selector = next(
                    (s.name for s in received.layout.signals if s.is_selector and not s.selector),
                    None,
                )
                if selector is not None:
                    sender.selecting = self._pages(name)
                found[name] = sender
        return found

    def _pages(self, name: str) -> tuple[int, ...]:
        spec = self.pairing.spec
        message = next(one for one in spec.messages if one.name == name)
        return tuple(
            sorted({low for unit in message.units for low, _ in spec.units[unit].selectors})
        )

    def ticking(
        self, senders: dict[str, Sender], inputs: Inputs, ticks: int
    ) -> Iterator[tuple[int, Outputs, tuple[Frame, ...]]]:
        """Run the bridge with ideal buses: frames arrive with their periods, no lateness."""
        periods = {
            name: max(1, self.streams[name][1].period_us * MICRO_NS // self.tick_ns)
            for name in senders
        }
        for _ in range(ticks):
            now = self.bridge.now
            arrived = []
            for place, (name, sender) in enumerate(senders.items()):
                if not sender.silent and (now + place) % periods[name] == 0:
                    stimulus = next_frame(sender, 0)
                    if stimulus is not None:
                        arrived.append(stimulus.frame)
            for frame in arrived:
                self.bridge.receive(frame)
            yield now, self.bridge.tick(inputs), tuple(arrived)

    def _warm_up(self) -> None:
        """Drive to rest; what still moves by itself then is left out of the comparison."""
        self.bridge.reset(ResetCause.POWER_ON)
        senders = self.senders()
        ticks = WARM_UP_MS // self.pairing.spec.tick_ms
        words: dict[FrameKey, tuple[int, int]] = {}
        last: Outputs | None = None
        running = self.ticking(senders, self.inputs, 2 * ticks)
        for number, (_, outputs, arrived) in enumerate(running):
            self.warm_up.append((self.inputs, arrived))
            if number >= ticks:
                for frame in (*outputs.frames[0], *outputs.frames[1]):
                    word = intel_word(frame.data)
                    first, moving = words.get(frame.key, (word, 0))
                    words[frame.key] = (first, moving | (first ^ word))
            last = outputs
        self.counters = {name: sender.counter for name, sender in senders.items()}
        for key, (word, moving) in words.items():
            layout = self.pairing.message_of(key)
            if layout is None or key not in self.transmit_names:
                continue
            mask = sum(1 << bit for signal in layout.signals for bit in signal.spec.bits) & ~moving
            signals = tuple(
                (f"{self.transmit_names[key]}.{one.name}", one.spec)
                for one in layout.signals
                if not any(moving >> bit & 1 for bit in one.spec.bits)
            )
            self.shown[key] = Shown(self.transmit_names[key], mask, word & mask, signals)
        if last is not None:
            self.pins = tuple(self._pin_values(last))

    def _pin_values(self, outputs: Outputs) -> Iterator[tuple[str, int]]:
        pairing = self.pairing
        yield from zip(pairing.level_outputs, map(int, outputs.levels), strict=True)
        yield from zip(pairing.duty_outputs, outputs.duty, strict=True)
        yield from zip(pairing.frequency_outputs, outputs.frequency, strict=True)

    def last_arrival(self, message: str) -> int:
        """Return the tick that took the last frame of a message before the snapshot."""
        key = self.names.received[message].layout.key
        for back, (_, arrived) in enumerate(reversed(self.warm_up), start=1):
            if any(frame.key == key for frame in arrived):
                return self.first_tick - back
        return 0

    # EFFECTS

    def differing(self, frame: Frame) -> list[str]:
        """Return the signals of a sent frame that are not as at rest."""
        shown = self.shown.get(frame.key)
        if shown is None:
            return []
        word = intel_word(frame.data)
        if word & shown.mask == shown.word:
            return []
        resting = shown.word.to_bytes(8, "little")
        return [
            name
            for name, signal in shown.signals
            if extract(signal, frame.data + bytes(8 - len(frame.data))) != extract(signal, resting)
        ]

    def differing_pins(self, outputs: Outputs) -> list[str]:
        """Return the output pins that are not as at rest, and the signals of stopped messages."""
        differing = [
            f"output.{name}"
            for (name, value), (_, resting) in zip(
                self._pin_values(outputs), self.pins, strict=True
            )
            if value != resting
        ]
        for index, signals in self.stopping:
            if self.bridge.sender.transmits[index].stopped:
                differing += signals
        return differing

    def changed_inputs(self, change: Change) -> Inputs:
        """Return the inputs after a pin changed."""
        name = change.source.removeprefix("input.")
        if name in self.names.levels:
            index = self.names.levels[name][0]
            levels = list(self.inputs.levels)
            levels[index] = bool(change.value)
            return self.inputs._replace(levels=tuple(levels))
        counts = list(self.inputs.counts)
        counts[self.names.analogues[name]] = change.value
        return self.inputs._replace(counts=tuple(counts))

    def apply(self, change: Change, senders: dict[str, Sender]) -> Inputs | None:
        """Make the change; return new inputs when it is a pin."""
        if not change.source:
            return None
        if change.source.startswith("input."):
            return self.changed_inputs(change)
        bus, message, *signal = change.source.split(".")
        sender = senders[f"{bus}.{message}"]
        if signal:
            set_signal(sender, signal[0], change.value)
        else:
            sender.silent = True
        return None

    def at_rest(self) -> None:
        """Put the engine back to the snapshot."""
        self.bridge.common.now = self.first_tick
        self.bridge.restore(self.snapshot)

    # TRIALS

    def run(self, trial: Trial) -> Seen:
        """Run one trial."""
        return _Run(self, trial).run()

    def stimulus_of(self, trial: Trial) -> list[tuple[Inputs, tuple[Frame, ...]]]:
        """Return what the bridge was given in a trial, tick by tick from power-on."""
        run = _Run(self, trial)
        run.run()
        return [*self.warm_up, *run.stimulus]


class _Run:
    """One trial under way."""

    def __init__(self, rig: Rig, trial: Trial) -> None:
        self.rig = rig
        self.trial = trial
        self.seen = Seen()
        self.bridge = rig.bridge
        rig.at_rest()
        self.senders = rig.senders()
        self.inputs = rig.inputs
        self.buses = [BusModel(rate) for rate in rig.pairing.bus_rates]
        self.stimulus: list[tuple[Inputs, tuple[Frame, ...]]] = []
        self.received: list[Frame] = []
        self.newest: dict[str, int] = {}
        self.at_control: dict[str, int] = {}
        self.carried: dict[str, dict[str, int]] = {}
        self.under_way: dict[tuple[bool, int], list[tuple[str, int]]] = {}
        self.events: list[tuple[int, int, str, int]] = []
        board = rig.pairing.traffic.board_us * MICRO_NS
        self.board_ns = board

    def run(self) -> Seen:
        trial, rig = self.trial, self.rig
        source = ".".join(trial.change.source.split(".")[:2])
        for name, (_, stream) in rig.streams.items():
            if trial.alone and name != source:
                continue
            phase = trial.phases.get(name, 0) % (stream.period_us * MICRO_NS)
            self.events.append((phase + trial.lateness(name, 0), 2, name, 0))
        self.events.append((0, 3, "tick", 0))
        self.events.append((trial.at, 1, "change", 0))
        self.events += [(at, 0, "blocking", bus) for bus, at in trial.blocking]
        if trial.babbling:
            self.events += [(0, 0, "blocking", bus) for bus in range(len(self.buses))]
        heapify(self.events)
        now = 0
        while now <= trial.until:
            upcoming = [self.events[0][0]]
            for bus in self.buses:
                instant = bus.next_instant()
                if instant is not None:
                    upcoming.append(max(instant, now))
            now = min(upcoming)
            for number, bus in enumerate(self.buses):
                passed = bus.advance(now)
                if passed is not None:
                    self._passed(number, passed.offer, passed.ended_at)
            moved = False
            while self.events and self.events[0][0] == now:
                _, _, what, number = heappop(self.events)
                self._event(now, what, number)
                moved = True
            if moved:
                for number, bus in enumerate(self.buses):
                    passed = bus.advance(now)
                    if passed is not None:
                        self._passed(number, passed.offer, passed.ended_at)
        return self.seen

    def _event(self, now: int, what: str, number: int) -> None:
        if what == "tick":
            self._tick(now)
            step = self.rig.tick_ns * (1_000_000 + self.trial.bridge_ppm) // 1_000_000
            heappush(self.events, (now + step, 3, "tick", 0))
        elif what == "change":
            inputs = self.rig.apply(self.trial.change, self.senders)
            if inputs is not None:
                self.inputs = inputs
        elif what == "blocking":
            bits = longest_bits(8, True)
            self.buses[number].offer((0x7FF, 2, 0), bits, now, ("blocking", "", None))
        else:
            self._send(now, what, number)

    def _send(self, now: int, name: str, number: int) -> None:
        """A foreign sender queues its frame and notes when the next one is due."""
        bus, stream = self.rig.streams[name]
        sender = self.senders.get(name)
        if sender is None:
            self.buses[bus].offer(stream.priority, stream.bits, now, ("other", name, None))
        elif not sender.silent:
            stimulus = next_frame(sender, 0)
            if stimulus is not None:
                frame = stimulus.frame
                self.seen.queued.setdefault(name, []).append(now)
                bits = self._bits(frame)
                self.buses[bus].offer(stream.priority, bits, now, ("received", name, frame))
        period = stream.period_us * MICRO_NS
        period = period * (1_000_000 + self.trial.clocks.get(name, 0)) // 1_000_000
        nominal = now - self.trial.lateness(name, number) + period
        due = max(nominal + self.trial.lateness(name, number + 1), now + 1)
        heappush(self.events, (due, 2, name, number + 1))

    def _bits(self, frame: Frame) -> int:
        if self.trial.exact:
            return exact_bits(frame.extended, frame.identifier, frame.data)
        return longest_bits(len(frame.data), frame.extended)

    def _passed(self, bus: int, offer: Offer, ended: int) -> None:
        """A frame was on the bus: the bridge has it, or everybody else sees ours."""
        kind, name, frame = offer.load
        if kind == "blocking" and self.trial.babbling:
            self._event(ended, "blocking", bus)
        elif kind == "received":
            self.received.append(frame)
            self.seen.arrivals.setdefault(name, []).append(ended)
            self.newest[f"arriving {name}"] = offer.queued_at
            key = (frame.extended, frame.identifier)
            self.under_way.setdefault(key, []).append((name, offer.queued_at))
        elif kind == "routed":
            waiting = self.under_way.get((frame.extended, frame.identifier), [])
            if waiting:
                source, queued = waiting.pop(0)
                target = f"{BUS_NAMES[bus]}.{source.split('.')[1]}"
                self.seen.routed.setdefault((source, target), []).append(ended - queued)
        elif kind == "sent":
            for target in self.rig.differing(frame):
                self.seen.effects.setdefault(target, ended)
            for source, queued in name[1].items():
                key = (source, name[0])
                before = self.carried.get(name[0], {}).get(source)
                if before is not None and queued != before:
                    self.seen.ages[key] = max(self.seen.ages.get(key, 0), ended - before)
            self.carried[name[0]] = name[1]

    def _tick(self, now: int) -> None:
        bridge = self.bridge
        self.stimulus.append((self.inputs, tuple(self.received)))
        for frame in self.received:
            bridge.receive(frame)
        self.received.clear()
        for key, queued in list(self.newest.items()):
            if key.startswith("arriving "):
                self.newest[key.removeprefix("arriving ")] = queued
                del self.newest[key]
        if bridge.now % bridge.spec.control_ticks == 0:
            self.at_control = dict(self.newest)
        outputs = bridge.tick(self.inputs)
        done = now + self.board_ns
        for target in self.rig.differing_pins(outputs):
            self.seen.effects.setdefault(target, done)
        for frames in outputs.frames:
            for frame in frames:
                self._hand_over(frame, done)

    def _hand_over(self, frame: Frame, now: int) -> None:
        name = self.rig.transmit_names.get(frame.key)
        bits = self._bits(frame)
        stream_priority = Stream("", frame.extended, frame.identifier, 0, 1, 0, 1, "").priority
        bus = self.buses[frame.bus]
        if name is None:
            bus.offer(stream_priority, bits, now, ("routed", "", frame))
            return
        bus.withdraw(lambda load: load[0] == "sent" and load[1][0] == name)
        stamps = {f"tick {source}": at for source, at in self.newest.items() if " " not in source}
        stamps |= {f"control {source}": at for source, at in self.at_control.items()}
        bus.offer(stream_priority, bits, now, ("sent", (name, stamps), frame))
