"""One trial under way: the real engine between two modelled buses, event by event."""

from heapq import heapify, heappop, heappush

from hil.vectors.senders import next_frame
from tools.timing.board_time import board_time
from tools.timing.bus_model import BusModel, Offer
from tools.timing.errors import Disturbing
from tools.timing.frame_bits import exact_bits, longest_bits
from tools.timing.mailboxes import Mailboxes
from tools.timing.response import Stream
from tools.timing.rig import MICRO_NS, Rig
from tools.timing.trials import FULL_PERCENT, Seen, Trial
from xlate_core.bridge import Inputs
from xlate_core.frames import BUS_NAMES, Frame

LOWEST = (0x7FF, 2, 0)
"""The priority of a frame nobody listed: behind every identifier there is."""


def run_trial(rig: Rig, trial: Trial) -> Seen:
    """Run one trial from the rig's snapshot."""
    return _Run(rig, trial).run()


def stimulus_of(rig: Rig, trial: Trial) -> list[tuple[Inputs, tuple[Frame, ...]]]:
    """Return what the bridge was given in a trial, tick by tick from power-on."""
    run = _Run(rig, trial)
    run.run()
    return [*rig.warm_up, *run.stimulus]


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
        self.disturbing = [
            Disturbing(said, begins)
            for said, begins in zip(rig.pairing.traffic.buses, trial.errors_from, strict=True)
        ]
        self.buses = [
            BusModel(rate, errors)
            for rate, errors in zip(rig.pairing.bus_rates, self.disturbing, strict=True)
        ]
        self.mailboxes = [Mailboxes(bus) for bus in self.buses]
        self.stimulus: list[tuple[Inputs, tuple[Frame, ...]]] = []
        self.received: list[Frame] = []
        self.newest: dict[str, int] = {}
        self.at_control: dict[str, int] = {}
        self.carried: dict[str, dict[str, int]] = {}
        self.under_way: dict[tuple[bool, int], list[tuple[str, int]]] = {}
        self.events: list[tuple[int, int, str, int]] = []
        self.board_ns = board_time(rig.pairing).us * MICRO_NS

    def run(self) -> Seen:
        trial, rig = self.trial, self.rig
        source = ".".join(trial.change.source.split(".")[:2])
        for name, (_, stream) in rig.streams.items():
            if trial.alone and name != source:
                continue
            phase = trial.phases.get(name, 0) % (stream.period_us * MICRO_NS)
            self.events.append((phase + trial.lateness.of(name, 0), 2, name, 0))
        self.events.append((0, 3, "tick", 0))
        self.events.append((trial.at, 1, "change", 0))
        self.events += [(at, 0, "blocking", bus) for bus, at in trial.blocking]
        if trial.filling.percent:
            self.events += [(0, 0, "filling", bus) for bus in range(len(self.buses))]
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
        self.seen.disturbed = sum(one.count for one in self.disturbing)
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
            self._offer_unlisted(now, number, "blocking")
        elif what == "filling":
            self._fill(now, number)
        else:
            self._send(now, what, number)

    def _fill(self, now: int, bus: int) -> None:
        """Queue a burst of frames nobody listed; one who babbles queues again when it passed."""
        filling = self.trial.filling
        taken = sum(
            self._offer_unlisted(now, bus, "filling") * self.buses[bus].bit_ns
            for _ in range(filling.burst)
        )
        if taken and filling.percent < FULL_PERCENT:
            later = now + taken * FULL_PERCENT // filling.percent
            heappush(self.events, (later, 0, "filling", bus))

    def _offer_unlisted(self, now: int, bus: int, kind: str) -> int:
        """Queue the longest frame nobody listed and return its bits; 0 where there is none."""
        octets = self.rig.pairing.traffic.buses[bus].unknown_octets
        if octets is None:
            return 0
        bits = longest_bits(octets, True)
        self.buses[bus].offer(LOWEST, bits, now, (kind, "", None))
        return bits

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
                bits = self._bits(frame)
                self.buses[bus].offer(stream.priority, bits, now, ("received", name, frame))
        period = stream.period_us * MICRO_NS
        period = period * (1_000_000 + self.trial.clocks.get(name, 0)) // 1_000_000
        nominal = now - self.trial.lateness.of(name, number) + period
        due = max(nominal + self.trial.lateness.of(name, number + 1), now + 1)
        heappush(self.events, (due, 2, name, number + 1))

    def _bits(self, frame: Frame) -> int:
        if self.trial.exact:
            return exact_bits(frame.extended, frame.identifier, frame.data)
        return longest_bits(len(frame.data), frame.extended)

    def _passed(self, bus: int, offer: Offer, ended: int) -> None:
        """A frame was on the bus: the bridge has it, or everybody else sees ours."""
        kind, name, frame = offer.load
        if kind in ("sent", "routed"):
            self.mailboxes[bus].passed(offer.load, ended)
        if kind == "filling" and self.trial.filling.percent >= FULL_PERCENT:
            self.buses[bus].offer(LOWEST, offer.bits, ended, offer.load)
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
        mailboxes = self.mailboxes[frame.bus]
        if name is None:
            mailboxes.hand_over(stream_priority, bits, now, ("routed", "", frame))
            return
        stamps = {f"tick {source}": at for source, at in self.newest.items() if " " not in source}
        stamps |= {f"control {source}": at for source, at in self.at_control.items()}
        mailboxes.hand_over(stream_priority, bits, now, ("sent", (name, stamps), frame), name)
