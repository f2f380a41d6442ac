"""The buses of one engine: their states and commands, tick by tick (rule 14).

Only pairings that ask for bus states have this run (`BridgeSpec.watches_buses`); in all others
every bus is commanded to work normally.
"""

from collections.abc import Sequence

from xlate_core import buses
from xlate_core.buses import BusCommand, BusInput
from xlate_core.events import Reason
from xlate_core.frames import BUS_NAMES, Bus, Frame
from xlate_core.interface import Common
from xlate_core.sending import Sender


class BusWatch:
    """States and commands of both buses of one engine; the records stand in `Common`."""

    __slots__ = ("commands", "common", "sender", "spec")

    commands: tuple[int, int]

    def __init__(self, common: Common, sender: Sender) -> None:
        """Begin as `Common` has it; `sender` is told when a bus may be sent on again."""
        self.spec = common.spec
        self.common = common
        self.sender = sender
        self.look_at_everything()

    def take(self, frame: Frame) -> bool:
        """Return whether a frame that arrived is taken; what a flood brings is not."""
        bus = frame.bus
        if buses.take(self.spec.buses[bus], self.common.lines[bus]):
            return True
        self.common.tell(Reason.FRAME_FLOODED, BUS_NAMES[bus], frame.identifier)
        return False

    def read(self, told: Sequence[BusInput], asleep: bool) -> None:
        """Work out the state of each bus from what its controller tells, and its command."""
        for bus, (spec, line) in enumerate(zip(self.spec.buses, self.common.lines, strict=True)):
            command: int = BusCommand.NORMAL
            if asleep:
                line.heard = False
                line.taken = 0
                command = BusCommand.SLEEP
            elif not buses.at_rest(line, told[bus]):
                before, reason = line.mode, line.reason
                command = buses.step(spec, line, told[bus])
                if before == buses.OPEN != line.mode:
                    self.common.tell(Reason.BUS_CLOSED, BUS_NAMES[bus], line.reason)
                elif before != buses.OPEN == line.mode:
                    self.common.tell(Reason.BUS_OPENED, BUS_NAMES[bus], reason)
            self._command(bus, command)

    def heard(self) -> int:
        """Return on which buses a frame came since the last control tick, one bit a bus."""
        lines = self.common.lines
        return sum(1 << bus for bus, line in enumerate(lines) if line.seen & buses.FRAME_SEEN)

    def forget_seen(self) -> None:
        """Begin anew to note what is seen; faults and power mode have looked at it."""
        for line in self.common.lines:
            line.seen = 0

    def sleep(self) -> None:
        """Send both buses to sleep."""
        for bus in Bus:
            self._command(bus, BusCommand.SLEEP)

    def wake(self) -> None:
        """Begin anew after a sleep, listening where the pairing says so."""
        lines = self.common.lines
        for bus in Bus:
            buses.start(self.spec.buses[bus], lines[bus])
            listening = lines[bus].mode != buses.OPEN
            self._command(bus, BusCommand.LISTEN if listening else BusCommand.NORMAL)

    def be_quiet(self, quiet: bool) -> None:
        """Silence the module's own messages, or let them leave again."""
        if quiet != self.common.quiet:
            self.common.quiet = quiet
            for bus in Bus:
                self.sender.look_at_bus(bus)

    def _command(self, bus: int, command: int) -> None:
        """Command a bus; what may leave again is looked at."""
        commands = self.common.commands
        if command != commands[bus]:
            commands[bus] = command
            self.commands = (commands[0], commands[1])
            self.common.outputs_open = True
            if command == BusCommand.NORMAL:
                self.sender.look_at_bus(bus)

    def look_at_everything(self) -> None:
        """Take no shortcut in the next tick; part of every reset and restore."""
        self.commands = (self.common.commands[0], self.common.commands[1])
