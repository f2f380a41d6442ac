"""The real engine between two modelled buses, with everything else that sends.

The engine is first driven to rest: ignition on, engine running, every value standing still. From
that snapshot each trial starts: senders queue their frames at their own phases and clock errors,
one signal, pin or sender changes, and it is noted when each output first shows it at the end of a
frame on the bus, or at a pin. Times are integers in nanoseconds from the start of the trial.
"""

from collections.abc import Iterable, Iterator
from copy import copy
from dataclasses import dataclass
from typing import Any

from hil.vectors.driving import driving_inputs
from hil.vectors.names import Names, names_of
from hil.vectors.senders import Sender, next_frame, set_signal
from tools.timing.response import Stream
from tools.timing.resting import resting_values
from tools.timing.streams import OTHERS, streams_of
from tools.timing.trials import Change, Stage
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.compiled import CompiledBridge, engine_of
from xlate_core.frames import BUS_NAMES, Frame, FrameKey
from xlate_core.pairing import Pairing
from xlate_core.signals import extract, intel_word
from xlate_core.transmission import OnLoss

MICRO_NS = 1000
WARM_UP_MS = 6000
LOOK_MS = 1500  # or two periods of the slowest sent message


@dataclass(frozen=True, slots=True)
class Shown:
    """A sent message at rest: which bits may be compared, and what they are."""

    name: str
    mask: int
    word: int
    signals: tuple[tuple[str, Any], ...]


class Rig:
    """A pairing at rest, ready for trials."""

    def __init__(
        self, pairing: Pairing, resting: Iterable[Stage] = (), plain: bool = False
    ) -> None:
        """Drive the engine to rest and take the snapshot; `resting` are stages that follow."""
        self.pairing = pairing
        self.resting: tuple[Stage, ...] = ()
        self.names: Names = names_of(pairing)
        self.tick_ns = pairing.spec.tick_ms * 1_000_000
        longest = max((one.period for one in pairing.spec.transmits), default=0)
        self.look_ms = max(LOOK_MS, 2 * longest * pairing.spec.tick_ms)
        bridge = self.bridge = engine_of(pairing.spec, plain=plain)
        # The records are the readable engine's in both forms.
        self.readable = bridge.plain if isinstance(bridge, CompiledBridge) else bridge
        self.inputs = driving_inputs(self.names)
        self.streams: dict[str, tuple[int, Stream]] = {}
        for number, bus in enumerate(BUS_NAMES):
            for one in streams_of(pairing, number):
                if one.sender == OTHERS:
                    self.streams[f"{bus}.{one.name}"] = (number, one)
        self.values = {
            name: resting_values(pairing, received)
            for name, received in self.names.received.items()
        }
        self.transmit_names = {
            one.key: f"{BUS_NAMES[one.key.bus]}.{layout.name}"
            for one in pairing.spec.transmits
            if (layout := pairing.message_of(one.key)) is not None
        }
        self.shown: dict[tuple[int, bool, int], Shown] = {}
        self.pins: tuple[tuple[str, int], ...] = ()
        self.counters: dict[str, int] = {}
        self.silent: frozenset[str] = frozenset()
        self.warm_up: list[tuple[Inputs, tuple[Frame, ...]]] = []
        self.bridge.reset(ResetCause.POWER_ON)
        self._settle(self.senders(), 2 * WARM_UP_MS, WARM_UP_MS)
        self.starts = {
            self.transmit_names[spec.key]: slot.due_at
            for spec, slot in zip(
                pairing.spec.transmits, self.readable.sender.transmits, strict=True
            )
            if spec.period
        }
        for stage in resting:
            self._go(stage)

    # AT REST

    def onward(self, stage: Stage) -> "Rig":
        """Return a rig at rest in another situation: this one's, then the changes of a stage."""
        other = copy(self)
        other._go(stage)
        return other

    def _go(self, stage: Stage) -> None:
        """Make the changes of a stage at rest, and settle anew."""
        self.at_rest()
        self.values = {name: dict(values) for name, values in self.values.items()}
        senders = self.senders()
        for change in stage.changes:
            self.inputs = self.apply(change, senders, self.inputs) or self.inputs
            bus, message, *signal = change.source.split(".")
            if bus == "input":
                continue
            if signal:
                self.values[f"{bus}.{message}"][signal[0]] = change.value
            else:
                self.silent |= {change.source}
        self.resting = (*self.resting, stage)
        self.warm_up = list(self.warm_up)
        self._settle(senders, stage.ms, min(stage.ms, self.look_ms))

    def senders(self) -> dict[str, Sender]:
        """Return the senders of all received messages with a rhythm, at rest."""
        found = {}
        for name in self.streams:
            if name in self.names.received:
                received = self.names.received[name]
                sender = Sender(received, dict(self.values[name]))
                sender.counter = self.counters.get(name, 0)
                sender.silent = name in self.silent
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
        self,
        senders: dict[str, Sender],
        inputs: Inputs,
        ticks: int,
        early: tuple[str, int] = ("", 0),
    ) -> Iterator[tuple[int, Outputs, tuple[Frame, ...]]]:
        """Run the bridge with ideal buses: frames arrive with their periods, no lateness.

        Those of one message come so many ticks `early`.
        """
        periods = {
            name: max(1, self.streams[name][1].period_us * MICRO_NS // self.tick_ns)
            for name in senders
        }
        for _ in range(ticks):
            now = self.bridge.now
            arrived = []
            for place, (name, sender) in enumerate(senders.items()):
                place += early[1] if name == early[0] else 0
                if not sender.silent and (now + place) % periods[name] == 0:
                    stimulus = next_frame(sender, 0)
                    if stimulus is not None:
                        arrived.append(stimulus.frame)
            for frame in arrived:
                self.bridge.receive(frame)
            yield now, self.bridge.tick(inputs), tuple(arrived)

    def _settle(self, senders: dict[str, Sender], ms: int, look_ms: int) -> None:
        """Let time pass and take the snapshot.

        What moves by itself in the last `look_ms` is left out of the comparison.
        """
        tick_ms = self.pairing.spec.tick_ms
        words: dict[FrameKey, tuple[int, int]] = {}
        last: Outputs | None = None
        running = self.ticking(senders, self.inputs, ms // tick_ms)
        for number, (_, outputs, arrived) in enumerate(running):
            self.warm_up.append((self.inputs, arrived))
            if number >= (ms - look_ms) // tick_ms:
                for frame in (*outputs.frames[0], *outputs.frames[1]):
                    word = intel_word(frame.data)
                    first, moving = words.get(frame.key, (word, 0))
                    words[frame.key] = (first, moving | (first ^ word))
            last = outputs
        self.counters = {name: sender.counter for name, sender in senders.items()}
        self.shown = {}
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
        self.snapshot = self.bridge.image()
        self.first_tick = self.bridge.now
        self.stopping = tuple(
            (index, tuple(signal for signal, _ in self.shown[one.key].signals))
            for index, one in enumerate(self.pairing.spec.transmits)
            if one.on_loss is OnLoss.STOP and one.key in self.shown
        )

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

    def longest_hold_ms(self, message: str) -> int:
        """Return how long after its last frame everything a message carries is given up at last."""
        spec = self.pairing.spec
        held = [
            unit.deadline
            + max(
                (spec.quantities[spec.sources[one].quantity].hold for one in unit.sources),
                default=0,
            )
            for unit in spec.units
            if spec.messages[unit.message].name == message
        ]
        return max(held, default=0) * spec.tick_ms

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
            if self.readable.sender.transmits[index].stopped:
                differing += signals
        return differing

    def changed_inputs(self, change: Change, inputs: Inputs) -> Inputs:
        """Return the inputs after a pin changed."""
        name = change.source.removeprefix("input.")
        if name in self.names.levels:
            index = self.names.levels[name][0]
            levels = list(inputs.levels)
            levels[index] = bool(change.value)
            return inputs._replace(levels=tuple(levels))
        counts = list(inputs.counts)
        counts[self.names.analogues[name]] = change.value
        return inputs._replace(counts=tuple(counts))

    def apply(
        self, change: Change, senders: dict[str, Sender], inputs: Inputs | None = None
    ) -> Inputs | None:
        """Make the change; return new inputs when it is a pin, from `inputs` or those at rest."""
        if not change.source:
            return None
        if change.source.startswith("input."):
            return self.changed_inputs(change, inputs or self.inputs)
        bus, message, *signal = change.source.split(".")
        sender = senders[f"{bus}.{message}"]
        if signal:
            set_signal(sender, signal[0], change.value)
        else:
            sender.silent = True
        return None

    def at_rest(self) -> None:
        """Put the engine back to the snapshot."""
        self.bridge.restore(self.snapshot)  # the readable engine has the records from here on
        self.readable.common.now = self.first_tick
        self.readable.restore(self.snapshot)
