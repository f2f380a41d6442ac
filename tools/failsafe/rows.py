"""A row of the table: one output under one fault in one situation."""

import hashlib
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from tools.failsafe.matching import Situation, show_situation
from tools.failsafe.names import NOT_AVAILABLE, OFF, ON, TableNames, Value, is_pin
from xlate_core.pins import PinKind


class Status(StrEnum):
    """What a row comes to."""

    PASS = "pass"
    DEVIATES = "deviates"
    UNDETECTED = "undetected"
    NOT_APPLICABLE = "not applicable"
    OPEN = "open"


@dataclass(slots=True)
class Row:
    """One output under one fault in one situation. Times in ms; None = never, or not known.

    - detection, reaction and total are observed; `threshold` and its least and most time are what
      the pairing says of the detection;
    - total = from the fault to the required state, actuator included; margin = allowed - total.
    """

    output: str
    kind: str
    subject: str
    situation: Situation
    status: Status
    requirement: str = ""
    hazard: str = ""
    required: str = ""
    observed: str = ""
    enabling: str = ""
    threshold: str = ""
    threshold_least_ms: int | None = None
    threshold_most_ms: int | None = None
    detection: str = ""
    detection_ms: int | None = None
    substitute: str = ""
    reaction_ms: int | None = None
    actuator_ms: int = 0
    total_ms: int | None = None
    allowed_ms: int | None = None
    margin_ms: int | None = None
    recovery: str = ""
    recovery_required: str = ""
    latch: str = ""
    indication: str = ""
    memory: str = ""
    group: str = ""
    note: str = ""

    @property
    def id(self) -> str:
        """An id from the content of the row's place: output, fault, situation."""
        text = "|".join((self.output, self.kind, self.subject, show_situation(self.situation)))
        return hashlib.sha256(text.encode()).hexdigest()[:8]

    def facts(self) -> dict[str, Any]:
        """Return the row as plain data."""
        plain = asdict(self)
        plain["situation"] = dict(self.situation)
        plain["status"] = self.status.value
        return {"id": self.id, **plain}


def show_value(names: TableNames, output: str, value: Value | None) -> str:
    """Return a value of an output as people read it."""
    if value is None:
        return "-"
    if isinstance(value, str):
        return value
    if is_pin(output):
        name = output.removeprefix("output.")
        if names.names.outputs[name].kind is PinKind.LEVEL:
            return ON if value else OFF
        return str(value)
    signal = names.sent[output]
    if value == signal.not_available:
        return NOT_AVAILABLE
    physical = value * signal.layout.factor + signal.layout.offset
    unit = f" {signal.layout.unit}" if signal.layout.unit else ""
    return f"{float(physical):g}{unit}"
