"""Small random pairings as files, from a seed: what nobody would think of writing.

Layouts, protections, units, multiplexers, deadlines, conditions, substitution, faults, functions,
routes, event and cyclic sending are drawn. A draw that the load refuses (an overflow, a signal that
does not fit) is no pairing; the next one of the same seed is taken.
"""

from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from xlate_core.pairing import PairingError, load
from xlate_core.pairing.model import Pairing

BUSES = ("body", "engine")
MOST_DRAWS = 200
PLAIN_KINDS = ("crc8", "xor8", "sum8")
KINDS = {
    "xor4": 4,
    "sum4": 4,
    "sum8_inverted": 8,
    "sum8_carry": 8,
    "sum16": 16,
    "sum16_inverted": 16,
    "sum16_carry": 16,
    "crc": 8,
}
"""The rarer kinds and the bits of their results; those of a CRC are drawn."""
CRCS = ("CRC-8/SAE-J1850", "CRC-8/AUTOSAR", "CRC-8/SMBUS", "CRC-8/MAXIM-DOW")
DBC_HEAD = """VERSION ""

NS_ :
	BA_DEF_
	BA_
	BA_DEF_DEF_

BS_:

BU_: Bridge Others

"""
DBC_TAIL = """
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
"""


@dataclass(slots=True)
class Signal:
    """One drawn signal: DBC start bit, length, byte order, sign, and where it is selected."""

    name: str
    start: int
    length: int
    intel: bool
    signed: bool
    selected: int | None = None

    @property
    def raw(self) -> tuple[int, int]:
        """Smallest and largest raw value."""
        if self.signed:
            return -(1 << (self.length - 1)), (1 << (self.length - 1)) - 1
        return 0, (1 << self.length) - 1


@dataclass(slots=True)
class Message:
    """One drawn message."""

    name: str
    identifier: int
    extended: bool
    length: int
    period: int
    signals: list[Signal] = field(default_factory=list)
    selector: Signal | None = None
    counter: Signal | None = None
    checksum: Signal | None = None
    kind: str = ""
    width: int = 8


def make(seed: int, folder: Path) -> Pairing:
    """Write the pairing of a seed into a folder and load it."""
    chance = Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    for _ in range(MOST_DRAWS):
        draw = _Draw(chance, f"drawn_{seed}")
        for name, text in draw.files().items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        try:
            return load(folder)
        except PairingError:
            continue
    raise AssertionError(f"seed {seed}: {MOST_DRAWS} draws and no pairing")


class _Draw:
    """One draw of a whole pairing."""

    def __init__(self, chance: Random, name: str) -> None:
        self.chance = chance
        self.name = name
        self.tick = chance.choice((1, 1, 2, 5))
        self.control = self.tick * chance.choice((1, 2, 5, 10))
        self.quantities: list[tuple[str, int, int]] = []  # name, low, high, in steps of 1
        self.parts: list[str] = []
        self.used: set[tuple[str, int]] = set()

    def files(self) -> dict[str, str]:
        """Return the three files."""
        received = {bus: self._messages(bus, "IN", 1 + self._below(3)) for bus in BUSES}
        sent = {bus: self._messages(bus, "OUT", 1 + self._below(3)) for bus in BUSES}
        routed = self._below(3) == 0
        self._head()
        self._inputs()
        for bus in BUSES:
            for message in received[bus]:
                self._receive(bus, message)
        self._functions()
        for bus in BUSES:
            for message in sent[bus]:
                self._transmit(bus, message)
        dbc = {}
        for bus in BUSES:
            messages = [*received[bus], *sent[bus]]
            if routed and bus == "body":
                extra = Message("PASS", self._identifier(bus), False, 8, 0)
                extra.signals = [Signal("Octets", 0, 64, True, False)]
                messages.append(extra)
                queue = self.chance.choice(('"newest"', "{ fifo = 4 }"))
                self.parts.append(
                    f'[route.pass]\nfrom = "body.PASS"\nto = "engine"\nqueue = {queue}'
                )
            dbc[bus] = self._dbc(messages)
        self._watch_the_idle()
        return {
            "bridge.toml": "\n\n".join(self.parts) + "\n",
            **{f"{b}.dbc": t for b, t in dbc.items()},
        }

    # LAYOUTS

    def _messages(self, bus: str, prefix: str, count: int) -> list[Message]:
        return [self._message(bus, f"{prefix}_{number}") for number in range(count)]

    def _identifier(self, bus: str) -> int:
        while True:
            identifier = self._below(0x7F0)
            if (bus, identifier) not in self.used:
                self.used.add((bus, identifier))
                return identifier

    def _message(self, bus: str, name: str) -> Message:
        length = 1 + self._below(8)
        period = self.tick * self.chance.choice((2, 4, 5, 10, 20))
        message = Message(name, self._identifier(bus), False, length, period)
        free = set(range(8 * length))
        if length >= 3 and self._below(2):
            message.kind = self.chance.choice((*KINDS, *PLAIN_KINDS, *PLAIN_KINDS))
            width = KINDS.get(message.kind, 8)
            if message.kind == "crc":
                width = message.width = 4 + self._below(29 if length >= 6 else 9)
            if message.kind in PLAIN_KINDS:
                message.checksum = self._octet("Check", free, self._below(length))
            elif width == 8:
                message.checksum = self._octet("Check", free, self.chance.choice((0, length - 1)))
            else:
                message.checksum = self._place("Check", free, width, False)
        if length >= 2 and self._below(2):
            message.counter = self._place("Count", free, 4, False)
        if name.startswith("IN") and length >= 4 and self._below(4) == 0:
            message.selector = self._place("Page", free, 2, False)
        for number in range(1 + self._below(4)):
            long = self.chance.choice((1, 1, 2, 4, 7, 8, 8, 10, 12, 16))
            signal = self._place(f"S{number}", free, long, self._below(3) == 0 and long > 1)
            if signal is None:
                continue
            if message.selector is not None and self._below(2):
                signal.selected = self._below(3)
            message.signals.append(signal)
        if not message.signals:
            only = self._place("S0", free, 1, False)
            message.signals = [only] if only is not None else []
        return message

    def _octet(self, name: str, free: set[int], octet: int) -> Signal:
        free -= set(range(8 * octet, 8 * octet + 8))
        return Signal(name, 8 * octet, 8, True, False)

    def _place(self, name: str, free: set[int], length: int, signed: bool) -> Signal | None:
        """Return a signal in free bits, of either byte order; None when nothing fits."""
        for _ in range(30):
            intel = self._below(2) == 0
            start = self._below(64)
            bits = set(range(start, start + length)) if intel else _motorola(start, length)
            if bits and bits <= free:
                free -= bits
                return Signal(name, start, length, intel, signed)
        return None

    def _dbc(self, messages: list[Message]) -> str:
        lines = [DBC_HEAD]
        for message in messages:
            lines.append(f"BO_ {message.identifier} {message.name}: {message.length} Others\n")
            inside = [*message.signals, message.selector, message.counter, message.checksum]
            for one in inside:
                if one is None:
                    continue
                role = " M" if one is message.selector else ""
                if one.selected is not None and message.selector is not None:
                    role = f" m{one.selected}"
                order, sign = int(one.intel), "-" if one.signed else "+"
                low, high = one.raw
                lines.append(
                    f" SG_ {one.name}{role} : {one.start}|{one.length}@{order}{sign} (1,0) "
                    f'[{low}|{high}] "" Bridge\n'
                )
            lines.append("\n")
        lines.append(DBC_TAIL)
        for message in messages:
            if message.period:
                lines.append(f'BA_ "GenMsgCycleTime" BO_ {message.identifier} {message.period};\n')
        return "".join(lines)

    # TABLES OF bridge.toml

    def _head(self) -> None:
        self.parts.append(
            f'format = 1\nname = "{self.name}"\n[clock]\ntick_ms = {self.tick}\n'
            f"control_ms = {self.control}"
        )
        for bus in BUSES:
            self.parts.append(f'[bus.{bus}]\nbit_rate = 500000\ndatabase = "{bus}.dbc"')
        terms = ['power_modes = ["ignition_on", "cranking", "running"]']
        if self._below(2):
            terms.append("supply_mv = [8000, 16000]")
        if self._below(2):
            terms.append(f"after_ms = {self.tick * self._below(50)}")
        self.parts.append("[condition.awake]\n" + "\n".join(terms))
        self.parts.append(
            f'[power]\nignition = "key"\ncycle_off_ms = {self.control * (1 + self._below(20))}\n'
            f"after_run_ms = {self.control * self._below(20)}"
        )

    def _inputs(self) -> None:
        active = self.chance.choice(("high", "low"))
        wait = self.tick * self._below(6)
        self.parts.append(
            f'[input.key]\nkind = "level"\nactive = "{active}"\ndebounce_ms = {wait}\n\n'
            '[quantity.key]\nrange = [0, 1]\nfrom = "input.key"'
        )
        if self._below(2):
            self.parts.append(
                '[curve.slope]\nx_unit = "counts"\npoints = [[100, 0], [1500, 70], [4000, 250]]\n\n'
                '[input.slider]\nkind = "analogue"\ncurve = "slope"\nvalid = [100, 4000]\n\n'
                '[quantity.slider]\nrange = [0, 250]\nfrom = "input.slider"\n'
                + self._substitution(0, 250)
            )
            self.quantities.append(("slider", 0, 250))

    def _receive(self, bus: str, message: Message) -> None:
        lines = [f"[receive.{bus}.{message.name}]"]
        deadline = message.period * (2 + self._below(4)) if self._below(5) else 0
        lines.append(f"deadline_ms = {deadline}")
        if deadline and self._below(2):
            lines.append(f"first_deadline_ms = {deadline + self.tick * self._below(100)}")
        if self._below(2):
            lines.append('when = "awake"')
        protected = self._protection(message)
        if not protected and message.selector is None and self._below(2):
            lines.append("allow_short = true")
        lines += protected
        if message.selector is not None:
            for page in {one.selected for one in message.signals if one.selected is not None}:
                lines.append(f"[receive.{bus}.{message.name}.path.{page}]")
                lines.append(f"deadline_ms = {message.period * (4 + self._below(8))}")
        self.parts.append("\n".join(lines))
        for signal in message.signals:
            self._quantity(bus, message, signal)

    def _protection(self, message: Message) -> list[str]:
        lines = []
        if message.counter is not None:
            modulo, step = self.chance.choice((15, 16)), 1 + self._below(3)
            lines.append(f'counter = {{ signal = "Count", modulo = {modulo}, max_step = {step} }}')
        if message.checksum is not None:
            kind = message.kind
            more = ""
            if kind == "crc8":
                more = f', parameters = "{self.chance.choice(CRCS)}"'
            elif kind == "crc":
                more = f", parameters = {self._crc(message.width)}"
            folds = []
            if self._below(2):
                folds.append(self._fold())
            if message.counter is not None and self._below(4) == 0:
                values = [self._below(256) for _ in range(16)]
                place = self.chance.choice(("before", "after"))
                folds.append(f'{{ item = "data_id_list", place = "{place}", values = {values} }}')
            if folds:
                more += f", fold = [{', '.join(folds)}]"
            lines.append(f'checksum = {{ signal = "Check", kind = "{kind}"{more} }}')
        return lines

    def _fold(self) -> str:
        place = self.chance.choice(("before", "after"))
        item = self.chance.choice(
            (
                'item = "identifier"',
                'item = "length"',
                f'item = "data_id", value = {self._below(65536)}, octets = 2',
            )
        )
        low_first = self.chance.choice(("true", "false"))
        return f'{{ {item}, place = "{place}", low_first = {low_first} }}'

    def _crc(self, width: int) -> str:
        most = 1 << width
        reflected = self.chance.choice(("true", "false"))
        return (
            f"{{ width = {width}, poly = {self._below(most) | 1}, init = {self._below(most)}, "
            f"reflected = {reflected}, xorout = {self._below(most)} }}"
        )

    def _quantity(self, bus: str, message: Message, signal: Signal) -> None:
        name = f"{bus}_{message.name}_{signal.name}".lower()
        low, high = signal.raw
        source = f'signal = "{bus}.{message.name}.{signal.name}"'
        span = high - low
        if span >= 15 and self._below(2):
            high -= 2
            source += (
                f", not_available = [[{high + 2}, {high + 2}]], error = [[{high + 1}, {high + 1}]]"
            )
            source += f", valid = [{low}, {high}]"
        factor = self.chance.choice(("1", "1", "1/2", "3", "2/3", "-1"))
        if factor != "1":
            source += f', factor = "{factor}", offset = {self._below(20) - 10}'
        bounds = (-100000, 100000) if factor != "1" else (low, high)
        lines = [
            f"[quantity.{name}]",
            f"range = [{bounds[0]}, {bounds[1]}]",
            f"from = {{ {source} }}",
            self._substitution(*bounds),
        ]
        if span > 20 and self._below(6) == 0:
            lines.append(f"max_change = {1 + span // 3}")
        if self._below(6) == 0:
            lines.append(f"frozen_after_frames = {2 + self._below(30)}")
        self.parts.append("\n".join(line for line in lines if line))
        self.quantities.append((name, *bounds))

    def _substitution(self, low: int, high: int) -> str:
        lines = []
        if self._below(2):
            lines.append(f"hold_ms = {self.tick * self._below(40)}")
        lines.append(self.chance.choice(('substitute = "not available"', f"substitute = {low}")))
        if self._below(5) == 0:
            lines.append(f"return_per_s = {1 + self._below(max(2, (high - low) * 2))}")
        return "\n".join(lines)

    def _functions(self) -> None:
        wide = [one for one in self.quantities if one[2] - one[1] >= 15]
        if not wide:
            return
        name, low, high = self.chance.choice(wide)
        on = low + (high - low) * 2 // 3
        times = [self.control * self._below(20) for _ in range(2)]
        self.parts.append(
            f"[quantity.fan_a]\nrange = [0, 1]\n\n[quantity.fan_b]\nrange = [0, 1]\n\n"
            f'[[function]]\nname = "fans"\nkind = "cooling_fan"\ncoolant = "{name}"\n'
            f'stages = [{{ output = "fan_a", on = {on}, off = {on - 3} }}, '
            f'{{ output = "fan_b", on = {on + 4}, off = {on + 2} }}]\n'
            f"min_on_ms = {times[0]}\nmin_off_ms = {times[1]}\non_loss_stage = {self._below(3)}\n\n"
            f'[output.fan]\nkind = "level"\nactive = "{self.chance.choice(("high", "low"))}"\n'
            'quantity = "fan_a"\nreset = 0\nunpowered = "off"'
        )
        self.quantities += [("fan_a", 0, 1), ("fan_b", 0, 1)]
        if self._below(2):
            self.parts.append(
                f"[quantity.needle]\nrange = [0, 1000]\n\n[curve.dial]\n"
                f"points = [[{low}, 0], [{(low + high) // 2}, 480], [{high}, 1000]]\n\n"
                f'[[function]]\nname = "needle"\nkind = "gauge"\ninput = "{name}"\ncurve = "dial"\n'
                f'output = "needle"\nhysteresis = {1 + self._below(5)}\non_loss = 0\n\n'
                '[output.dial]\nkind = "duty"\nquantity = "needle"\nunpowered = "at rest"'
            )
            self.quantities.append(("needle", 0, 1000))
        if self._below(2):
            self.parts.append(
                f'[quantity.trouble]\nrange = [0, 1]\n\n[fault.trouble]\nquantity = "{name}"\n'
                'statuses = ["stale", "error", "out_of_range", "never_received"]\n'
                f"up = {1 + self._below(3)}\ndown = {self._below(3)}\n"
                f"limit = {1 + self._below(20)}\n"
                f'latch = {self.chance.choice(("true", "false"))}\noutput = "trouble"'
            )
            self.quantities.append(("trouble", 0, 1))

    def _transmit(self, bus: str, message: Message) -> None:
        lines = [f"[transmit.{bus}.{message.name}]", f"period_ms = {message.period}"]
        lines.append(f"offset_ms = {self.tick * self._below(message.period // self.tick)}")
        if self._below(2):
            lines.append(f"on_change = true\nmin_gap_ms = {self.tick * self._below(10)}")
        if self._below(2):
            lines.append('when = "awake"')
        lines.append(f"fill = {self._below(2)}")
        lines += self._protection(message)
        signals = []
        lossy = coded = False
        for signal in message.signals:
            name, *_ = self.chance.choice([*self.quantities, ("key", 0, 1)])
            lossy = lossy or name.startswith(BUSES)
            low, high = signal.raw
            if signal.length >= 4 and self._below(2):
                coded = True
                signals.append(
                    f'{signal.name} = {{ quantity = "{name}", valid = [{low}, {high - 1}], '
                    f"not_available = {high} }}"
                )
            else:
                signals.append(f'{signal.name} = "{name}"')
        choices = [
            "substitute",
            *(["stop"] if lossy else []),
            *(["not_available"] if coded else []),
        ]
        lines.append(f'on_loss = "{self.chance.choice(choices)}"')
        self.parts.append("\n".join([*lines, f"[transmit.{bus}.{message.name}.signals]", *signals]))

    def _watch_the_idle(self) -> None:
        """Mark the quantities nobody uses."""
        text = "\n\n".join(self.parts)
        for name, *_ in self.quantities:
            if text.count(f'"{name}"') == text.count(f'output = "{name}"'):
                text = text.replace(
                    f"[quantity.{name}]\n", f"[quantity.{name}]\nwatch_only = true\n"
                )
        self.parts = [text]

    def _below(self, limit: int) -> int:
        return self.chance.randrange(limit)


def _motorola(start: int, length: int) -> set[int]:
    """Return the DBC bit numbers of a Motorola signal; empty when it leaves the eight octets."""
    bits = set()
    bit = start
    for _ in range(length):
        bits.add(bit)
        bit = bit - 1 if bit % 8 else bit + 15
        if bit > 63 and len(bits) < length:
            return set()
    return bits
