"""What a load yields: the pairing, frozen and validated, with the layouts of both databases."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from xlate_core.bridge import BridgeSpec
from xlate_core.frames import FrameKey
from xlate_core.pairing.details import FunctionDetails, QuantityDetails
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.options import split
from xlate_core.pairing.positions import KeyPath, Positions
from xlate_core.pairing.problems import PairingError, Problem, problem_at
from xlate_core.pairing.traffic import Traffic


@dataclass(frozen=True, slots=True)
class Pairing:
    """One car with one engine controller, `options` chosen, in their order and part of the name.

    `digest` is SHA-256 in hex over the canonical validated model and `rules`; `bus_rates` are
    bit/s of body and engine bus; `databases` is keyed by the bus names "body" and "engine"; `notes`
    are sentences worth knowing that are no errors; `quantities` and `functions` say in the order of
    the spec what people want to know of each. Pin names stand in the order of the engine's inputs
    and outputs. `positions` are the lines of the keys, for who finds a problem later.
    """

    name: str
    options: tuple[str, ...]
    description: str
    directory: Path
    spec: BridgeSpec
    digest: str
    bus_rates: tuple[int, int]
    databases: dict[str, tuple[DbcMessage, ...]]
    notes: tuple[str, ...]
    quantities: tuple[QuantityDetails, ...]
    functions: tuple[FunctionDetails, ...]
    level_inputs: tuple[str, ...]
    analogue_inputs: tuple[str, ...]
    level_outputs: tuple[str, ...]
    duty_outputs: tuple[str, ...]
    frequency_outputs: tuple[str, ...]
    traffic: Traffic
    positions: Positions = field(repr=False, compare=False)

    def problem(
        self, path: KeyPath, found: str, expected: str, nearest: str | None = None
    ) -> Problem:
        """Return a problem at a key path of the pairing's files."""
        return problem_at(self.positions, path, found, expected, nearest)

    def refuse(self, problems: Iterable[Problem]) -> None:
        """Raise PairingError with these problems, if there are any."""
        every = tuple(problems)
        if every:
            raise PairingError(every, split(self.directory)[0])

    def message(self, bus: str, name: str) -> DbcMessage | None:
        """Return the layout of a message by bus and name."""
        return next((m for m in self.databases[bus] if m.name == name), None)

    def message_of(self, key: FrameKey) -> DbcMessage | None:
        """Return the layout of a message by what is on the wire; format and identifier count."""
        for messages in self.databases.values():
            for message in messages:
                if message.key == key:
                    return message
        return None
