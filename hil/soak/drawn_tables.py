"""Drawn tables of bridge.toml: inputs, received and sent messages, quantities, functions."""

from random import Random

from hil.soak.layouts import Message, Signal
from hil.soak.profiles import profile_line

BUSES = ("body", "engine")
CRCS = ("CRC-8/SAE-J1850", "CRC-8/AUTOSAR", "CRC-8/SMBUS", "CRC-8/MAXIM-DOW")


class Tables:
    """Draws the tables of one pairing; `parts` are their texts."""

    def __init__(self, chance: Random, name: str, tick: int) -> None:
        """Draw with `chance`; times are multiples of `tick` ms."""
        self.chance = chance
        self.name = name
        self.tick = tick
        self.control = tick * chance.choice((1, 2, 5, 10))
        self.quantities: list[tuple[str, int, int]] = []  # name, low, high, in steps of 1
        self.parts: list[str] = []

    def head(self) -> None:
        """Add clock, buses, the one condition and the power mode."""
        self.parts.append(
            f'format = 1\nname = "{self.name}"\n[clock]\ntick_ms = {self.tick}\n'
            f"control_ms = {self.control}"
        )
        for bus in BUSES:
            self.parts.append(f'[bus.{bus}]\nbit_rate = 500000\ndatabase = "{bus}.dbc"')
        terms = ['power_modes = ["ignition_on", "cranking", "running"]']
        if self.below(2):
            terms.append("supply_mv = [8000, 16000]")
        if self.below(2):
            terms.append(f"after_ms = {self.tick * self.below(50)}")
        self.parts.append("[condition.awake]\n" + "\n".join(terms))
        self.parts.append(
            f'[power]\nignition = "key"\ncycle_off_ms = {self.control * (1 + self.below(20))}\n'
            f"after_run_ms = {self.control * self.below(20)}"
        )

    def inputs(self) -> None:
        """Add the ignition switch and, in half of all draws, an analogue input."""
        active = self.chance.choice(("high", "low"))
        wait = self.tick * self.below(6)
        self.parts.append(
            f'[input.key]\nkind = "level"\nactive = "{active}"\ndebounce_ms = {wait}\n\n'
            '[quantity.key]\nrange = [0, 1]\nfrom = "input.key"'
        )
        if self.below(2):
            self.parts.append(
                '[curve.slope]\nx_unit = "counts"\npoints = [[100, 0], [1500, 70], [4000, 250]]\n\n'
                '[input.slider]\nkind = "analogue"\ncurve = "slope"\nvalid = [100, 4000]\n\n'
                '[quantity.slider]\nrange = [0, 250]\nfrom = "input.slider"\n'
                + self._substitution(0, 250)
            )
            self.quantities.append(("slider", 0, 250))

    def receive(self, bus: str, message: Message) -> None:
        """Add a received message and the quantities of its signals."""
        lines = [f"[receive.{bus}.{message.name}]"]
        deadline = message.period * (2 + self.below(4)) if self.below(5) else 0
        lines.append(f"deadline_ms = {deadline}")
        if deadline and self.below(2):
            lines.append(f"first_deadline_ms = {deadline + self.tick * self.below(100)}")
        if self.below(2):
            lines.append('when = "awake"')
        protected = self._protection(message, received=True)
        if not protected and message.selector is None and self.below(2):
            lines.append("allow_short = true")
        lines += protected
        if message.selector is not None:
            for page in {one.selected for one in message.signals if one.selected is not None}:
                lines.append(f"[receive.{bus}.{message.name}.path.{page}]")
                lines.append(f"deadline_ms = {message.period * (4 + self.below(8))}")
        self.parts.append("\n".join(lines))
        for signal in message.signals:
            self._quantity(bus, message, signal)

    def _protection(self, message: Message, received: bool) -> list[str]:
        if message.profile is not None:
            return [profile_line(self.chance, message.profile, self.tick, received)]
        lines = []
        if message.counter is not None:
            modulo, step = self.chance.choice((15, 16)), 1 + self.below(3)
            lines.append(f'counter = {{ signal = "Count", modulo = {modulo}, max_step = {step} }}')
        if message.checksum is not None:
            kind = message.kind
            more = ""
            if kind == "crc8":
                more = f', parameters = "{self.chance.choice(CRCS)}"'
            elif kind == "crc":
                more = f", parameters = {self._crc(message.width)}"
            folds = []
            if self.below(2):
                folds.append(self._fold())
            if message.counter is not None and self.below(4) == 0:
                values = [self.below(256) for _ in range(16)]
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
                f'item = "data_id", value = {self.below(65536)}, octets = 2',
            )
        )
        low_first = self.chance.choice(("true", "false"))
        return f'{{ {item}, place = "{place}", low_first = {low_first} }}'

    def _crc(self, width: int) -> str:
        most = 1 << width
        reflected = self.chance.choice(("true", "false"))
        return (
            f"{{ width = {width}, poly = {self.below(most) | 1}, init = {self.below(most)}, "
            f"reflected = {reflected}, xorout = {self.below(most)} }}"
        )

    def _quantity(self, bus: str, message: Message, signal: Signal) -> None:
        name = f"{bus}_{message.name}_{signal.name}".lower()
        low, high = signal.raw
        source = f'signal = "{bus}.{message.name}.{signal.name}"'
        span = high - low
        if span >= 15 and self.below(2):
            high -= 2
            source += (
                f", not_available = [[{high + 2}, {high + 2}]], error = [[{high + 1}, {high + 1}]]"
            )
            source += f", valid = [{low}, {high}]"
        factor = self.chance.choice(("1", "1", "1/2", "3", "2/3", "-1"))
        if factor != "1":
            source += f', factor = "{factor}", offset = {self.below(20) - 10}'
        bounds = (-100000, 100000) if factor != "1" else (low, high)
        lines = [
            f"[quantity.{name}]",
            f"range = [{bounds[0]}, {bounds[1]}]",
            f"from = {{ {source} }}",
            self._substitution(*bounds),
        ]
        if span > 20 and self.below(6) == 0:
            lines.append(f"max_change = {1 + span // 3}")
        if self.below(6) == 0:
            lines.append(f"frozen_after_frames = {2 + self.below(30)}")
        self.parts.append("\n".join(line for line in lines if line))
        self.quantities.append((name, *bounds))

    def _substitution(self, low: int, high: int) -> str:
        lines = []
        if self.below(2):
            lines.append(f"hold_ms = {self.tick * self.below(40)}")
        lines.append(self.chance.choice(('substitute = "not available"', f"substitute = {low}")))
        if self.below(5) == 0:
            lines.append(f"return_per_s = {1 + self.below(max(2, (high - low) * 2))}")
        return "\n".join(lines)

    def functions(self) -> None:
        """Add fans on a wide quantity, and sometimes a needle and a fault."""
        wide = [one for one in self.quantities if one[2] - one[1] >= 15]
        if not wide:
            return
        name, low, high = self.chance.choice(wide)
        on = low + (high - low) * 2 // 3
        times = [self.control * self.below(20) for _ in range(2)]
        self.parts.append(
            f"[quantity.fan_a]\nrange = [0, 1]\n\n[quantity.fan_b]\nrange = [0, 1]\n\n"
            f'[[function]]\nname = "fans"\nkind = "cooling_fan"\ncoolant = "{name}"\n'
            f'stages = [{{ output = "fan_a", on = {on}, off = {on - 3} }}, '
            f'{{ output = "fan_b", on = {on + 4}, off = {on + 2} }}]\n'
            f"min_on_ms = {times[0]}\nmin_off_ms = {times[1]}\non_loss_stage = {self.below(3)}\n\n"
            f'[output.fan]\nkind = "level"\nactive = "{self.chance.choice(("high", "low"))}"\n'
            'quantity = "fan_a"\nreset = 0\nunpowered = "off"'
        )
        self.quantities += [("fan_a", 0, 1), ("fan_b", 0, 1)]
        if self.below(2):
            self.parts.append(
                f"[quantity.needle]\nrange = [0, 1000]\n\n[curve.dial]\n"
                f"points = [[{low}, 0], [{(low + high) // 2}, 480], [{high}, 1000]]\n\n"
                f'[[function]]\nname = "needle"\nkind = "gauge"\ninput = "{name}"\ncurve = "dial"\n'
                f'output = "needle"\nhysteresis = {1 + self.below(5)}\non_loss = 0\n\n'
                '[output.dial]\nkind = "duty"\nquantity = "needle"\nunpowered = "at rest"'
            )
            self.quantities.append(("needle", 0, 1000))
        if self.below(2):
            self.parts.append(
                f'[quantity.trouble]\nrange = [0, 1]\n\n[fault.trouble]\nquantity = "{name}"\n'
                'statuses = ["stale", "error", "out_of_range", "never_received"]\n'
                f"up = {1 + self.below(3)}\ndown = {self.below(3)}\n"
                f"limit = {1 + self.below(20)}\n"
                f'latch = {self.chance.choice(("true", "false"))}\noutput = "trouble"'
            )
            self.quantities.append(("trouble", 0, 1))

    def transmit(self, bus: str, message: Message) -> None:
        """Add a sent message that carries any quantities."""
        lines = [f"[transmit.{bus}.{message.name}]", f"period_ms = {message.period}"]
        lines.append(f"offset_ms = {self.tick * self.below(message.period // self.tick)}")
        if self.below(2):
            lines.append(f"on_change = true\nmin_gap_ms = {self.tick * self.below(10)}")
        if self.below(2):
            lines.append('when = "awake"')
        lines.append(f"fill = {self.below(2)}")
        lines += self._protection(message, received=False)
        signals = []
        lossy = coded = False
        for signal in message.signals:
            name, *_ = self.chance.choice([*self.quantities, ("key", 0, 1)])
            lossy = lossy or name.startswith(BUSES)
            low, high = signal.raw
            if signal.length >= 4 and self.below(2):
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

    def watch_the_idle(self) -> None:
        """Mark the quantities nobody uses."""
        text = "\n\n".join(self.parts)
        for name, *_ in self.quantities:
            if text.count(f'"{name}"') == text.count(f'output = "{name}"'):
                text = text.replace(
                    f"[quantity.{name}]\n", f"[quantity.{name}]\nwatch_only = true\n"
                )
        self.parts = [text]

    def below(self, limit: int) -> int:
        """Return a number from 0 to `limit` - 1."""
        return self.chance.randrange(limit)
