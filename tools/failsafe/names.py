"""The names a failsafe table may use: outputs, what can fail, what can be set, states."""

from dataclasses import dataclass, field
from fractions import Fraction

from hil.vectors.names import Names, names_of, to_raw
from xlate_core.arithmetic import divide
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.layouts import DbcSignal
from xlate_core.pairing.model import Pairing
from xlate_core.pins import PinKind

ON, OFF, SILENT, NOT_AVAILABLE, UNCHANGED = "on", "off", "silent", "not available", "unchanged"
GAPS = "gaps"  # in turns the true value and silence, "not available" or the substitute
WORDS = (ON, OFF, SILENT, NOT_AVAILABLE, UNCHANGED, GAPS)
SUPPLY = "supply"
Problem = tuple[str, str]
Value = int | str  # raw value of a signal, quantity-side value of a pin, or SILENT


@dataclass(frozen=True, slots=True)
class SentSignal:
    """A signal of a sent message: layout, raw code for "not available", raw substitute."""

    layout: DbcSignal
    message: str
    not_available: int | None
    quantity: int
    substitute: int | None


@dataclass(slots=True)
class TableNames:
    """Everything a table can name, of one pairing."""

    pairing: Pairing
    names: Names = field(init=False)
    sent: dict[str, SentSignal] = field(init=False)
    outputs: tuple[str, ...] = field(init=False)
    quantity_of: dict[str, int] = field(init=False)
    subjects: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Collect the names."""
        self.names = names_of(self.pairing)
        self.sent = dict(_sent_signals(self.pairing))
        pins = [f"output.{name}" for name in self.names.outputs]
        self.outputs = (*pins, *self.sent)
        self.quantity_of = {
            f"output.{pin.name}": pin.quantity for pin in self.pairing.spec.pins.outputs
        } | {name: one.quantity for name, one in self.sent.items()}
        signals = [source.name.split(" as ")[0] for source in self.pairing.spec.sources]
        inputs = [f"input.{name}" for name in (*self.names.levels, *self.names.analogues)]
        self.subjects = (
            *self.names.received,
            *dict.fromkeys(one for one in signals if not one.startswith("input.")),
            *inputs,
            *pins,
            *BUS_NAMES,
            "module",
        )

    def signal(self, name: str) -> DbcSignal | None:
        """Return a received signal by its full name."""
        bus, _, rest = name.partition(".")
        message, _, signal = rest.partition(".")
        received = self.names.received.get(f"{bus}.{message}")
        return received.layout.signal(signal) if received is not None else None

    def setting_problem(self, name: str, value: Fraction | str) -> Problem | None:
        """Return what is wrong with a setting of a situation, None when nothing is."""
        if name == SUPPLY:
            return None if isinstance(value, Fraction) else (f'"{value}"', "a number of mV")
        if name.startswith("input."):
            pin = name.removeprefix("input.")
            if pin in self.names.levels:
                fine = value in ("active", "inactive")
                return None if fine else (f"{value}", '"active" or "inactive"')
            if pin in self.names.analogues:
                return None if isinstance(value, Fraction) else (f'"{value}"', "counts")
        signal = self.signal(name)
        if signal is None:
            return f'"{name}"', "a received signal, input.NAME or supply"
        if isinstance(value, str) and value not in {text for _, text in signal.values}:
            return f'"{value}"', f"a number or a text of the value table of {name}"
        return None

    def raw_of(self, name: str, value: Fraction | str) -> int:
        """Return the raw value of a setting of a received signal."""
        signal = self.signal(name)
        if signal is None:
            raise KeyError(name)
        if isinstance(value, str):
            return next(raw for raw, text in signal.values if text == value)
        return to_raw(signal, value)

    def state_problem(self, output: str, state: Fraction | str) -> Problem | None:
        """Return what is wrong with a required state of an output, None when nothing is."""
        if isinstance(state, str):
            if state not in WORDS:
                return f'"{state}"', f"a number or one of {', '.join(WORDS)}"
            if state in (SILENT, NOT_AVAILABLE, GAPS) and output.startswith("output."):
                return f'"{state}"', f"a state a pin can have, for {output}"
            if state == NOT_AVAILABLE and self.sent[output].not_available is None:
                return f'"{state}"', f"{output} to have a not_available code"
        return None


def _sent_signals(pairing: Pairing) -> list[tuple[str, SentSignal]]:
    """Return every sent signal that carries a quantity."""
    found = []
    for transmit in pairing.spec.transmits:
        layout = pairing.message_of(transmit.key)
        if layout is None:
            continue
        message = f"{BUS_NAMES[transmit.key.bus]}.{layout.name}"
        for pack in transmit.packs:
            signal = layout.signal(pack.signal.name)
            value = pairing.spec.quantities[pack.quantity].substitute
            stand_in = None if value is None else divide(value * pack.a + pack.b, pack.d)
            if signal is not None:
                found.append(
                    (
                        f"{message}.{signal.name}",
                        SentSignal(signal, message, pack.not_available, pack.quantity, stand_in),
                    )
                )
    return found


def is_pin(output: str) -> bool:
    """Return whether an output is a pin."""
    return output.startswith("output.")


PIN_FIELDS = {PinKind.LEVEL: "levels", PinKind.DUTY: "duty", PinKind.FREQUENCY: "frequency"}
