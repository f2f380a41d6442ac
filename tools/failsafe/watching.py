"""What the outputs of a bridge do, signal by signal: values, changes, silence."""

from dataclasses import dataclass

from tools.failsafe.names import PIN_FIELDS, SILENT, TableNames, Value
from xlate_core.bridge import Outputs
from xlate_core.frames import BUS_NAMES, FrameKey
from xlate_core.signals import SignalSpec, extract, insert

LONGEST_SILENCE = 1 << 20  # ticks


@dataclass(slots=True)
class Change:
    """An output took another value."""

    tick: int
    output: str
    value: Value


@dataclass(frozen=True, slots=True)
class SentLayout:
    """What is looked at in a sent message: its signals, and the mask of their bits."""

    message: str
    mask: int
    signals: tuple[tuple[str, SignalSpec], ...]


class Watch:
    """Values of all outputs; `changes` grow while it listens. `dead` are buses nothing leaves on.

    A payload is taken apart only when its bits changed. A message that did not come for two of its
    periods is silent.
    """

    def __init__(self, names: TableNames) -> None:
        """Collect what is looked at."""
        self.listening = False
        self.changes: list[Change] = []
        self.values: dict[str, Value] = {}
        self.last_sent: dict[str, int] = {}
        self.dead: set[int] = set()
        self.pin_masks = [
            (f"output.{name}", PIN_FIELDS[pin.kind], pin.index, pin.active_high)
            for name, pin in names.names.outputs.items()
        ]
        self.sent_layouts: dict[FrameKey, SentLayout] = {}
        self.silent_after: dict[str, int] = {}
        self.signals_of: dict[str, list[str]] = {}
        for name, one in names.sent.items():
            self.signals_of.setdefault(one.message, []).append(name)
        self._collect(names)
        self._look_anew()

    def _collect(self, names: TableNames) -> None:
        for transmit in names.pairing.spec.transmits:
            message = names.pairing.message_of(transmit.key)
            if message is None:
                continue
            inside = {pack.signal.name for pack in transmit.packs}
            prefix = f"{BUS_NAMES[message.bus]}.{message.name}"
            carried = [one for one in message.signals if one.name in inside]
            mask = 0
            for signal in carried:
                ones = -1 if signal.spec.minimum < 0 else (1 << signal.spec.length) - 1
                filled = insert(signal.spec, bytes(8), ones)
                mask |= int.from_bytes(filled, "little")
            signals = tuple((f"{prefix}.{signal.name}", signal.spec) for signal in carried)
            self.sent_layouts[transmit.key] = SentLayout(prefix, mask, signals)
            if transmit.period:
                self.silent_after[prefix] = 2 * transmit.period

    def _look_anew(self) -> None:
        self.payloads: dict[FrameKey, int] = {}
        self.pins: tuple[object, ...] = ()
        self.next_silence = 0

    def begin(self, values: dict[str, Value], last_sent: dict[str, int]) -> None:
        """Take up these values and look at every output anew."""
        self.values, self.last_sent = dict(values), dict(last_sent)
        self._look_anew()

    def note(self, now: int, outputs: Outputs) -> None:
        """Note what outputs do; a payload is taken apart only when it is not the last one."""
        if outputs[2:5] != self.pins:
            self.pins = outputs[2:5]
            for output, kind, index, active_high in self.pin_masks:
                value = getattr(outputs, kind)[index]
                if kind == "levels":
                    value = int(value == active_high)
                self._take(now, output, value)
        for bus, frames in enumerate(outputs.frames):
            for frame in () if bus in self.dead else frames:
                layout = self.sent_layouts.get(frame.key)
                if layout is None:
                    continue
                self.last_sent[layout.message] = now
                data = int.from_bytes(frame.data, "little") & layout.mask
                if data == self.payloads.get(frame.key):
                    continue
                self.payloads[frame.key] = data
                patience = self.silent_after.get(layout.message, LONGEST_SILENCE)
                self.next_silence = min(self.next_silence, now + patience)
                padded = frame.data.ljust(8, b"\0")
                for name, signal in layout.signals:
                    self._take(now, name, extract(signal, padded))
        if now >= self.next_silence:
            self._look_for_silence(now)

    def _look_for_silence(self, now: int) -> None:
        """Mark messages silent that did not come for two periods; know when to look again."""
        soonest = now + LONGEST_SILENCE
        for message, patience in self.silent_after.items():
            due = self.last_sent.get(message, -1) + patience
            if due > now:
                soonest = min(soonest, due)
            elif self.values.get(self.signals_of[message][0]) != SILENT:
                for name in self.signals_of[message]:
                    self._take(now, name, SILENT)
                for key, layout in self.sent_layouts.items():
                    if layout.message == message:
                        self.payloads.pop(key, None)
        self.next_silence = soonest

    def _take(self, now: int, output: str, value: Value) -> None:
        if self.values.get(output) != value:
            self.values[output] = value
            if self.listening:
                self.changes.append(Change(now, output, value))
