"""A trial of one step on copies: is it at rest, for how long, and what would wake it?

At rest means: with the same inputs, running the step again would publish nothing new and change no
state but numbers that advance by a constant each time (a timer, an age). Such a step need not be
run: its advancing numbers have the closed form start + n * advance, and the trial says up to
which n.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, fields, is_dataclass
from functools import cache
from typing import Any

from xlate_core.compiled import interpreted
from xlate_core.compiled.tracing import HIGHEST, LOWEST, Recorded, UntraceableError, Variable
from xlate_core.quantities import QuantitySpec, QuantityState, QuantityStore

FOREVER = 1 << 62


@dataclass(slots=True)
class Advance:
    """A number of a state record that moves by `step` with every run."""

    record: Any
    name: str
    step: int


@dataclass(slots=True)
class Rest:
    """What a trial found: inputs and ranges, advancing numbers, and how many runs stay alike."""

    ranges: dict[int, tuple[int, int]]
    advances: list[Advance]
    runs: int
    power_fields: set[str]
    outputs: set[int]

    def advance(self, runs: int) -> None:
        """Bring the advancing numbers up to date after `runs` runs that were left out."""
        for one in self.advances:
            setattr(one.record, one.name, getattr(one.record, one.name) + one.step * runs)


class RecordedQuantity:
    """A quantity as a trial sees it: a new status or origin always wakes, values are recorded."""

    __slots__ = ("origin", "status", "value", "variable")

    def __init__(self, state: QuantityState) -> None:
        """Stand in for a quantity."""
        self.variable = Variable(state.value)
        self.value = Recorded(self.variable)
        self.status = interpreted.counterpart(state.status)
        self.origin = state.origin


class RecordedStore:
    """A quantity store that records what is read and whether a publication changes anything."""

    def __init__(self, store: QuantityStore, specs: tuple[QuantitySpec, ...]) -> None:
        """Look at a store without changing it; `specs` are those of the interpreted engine."""
        self.specs = specs
        self.states = self
        self.read: dict[int, RecordedQuantity] = {}
        self.published: set[int] = set()
        self.changes = False
        self._store = store

    def __getitem__(self, index: int) -> RecordedQuantity:
        """Return a quantity to be read."""
        if index in self.published:
            raise UntraceableError("a step reads what it published in the same run")
        if index < 0:
            raise UntraceableError("no index of a quantity")
        if index not in self.read:
            self.read[index] = RecordedQuantity(self._store.states[index])
        return self.read[index]

    def publish(self, index: int, value: Any, status: Any = 0, real: bool = True) -> None:
        """See whether a publication would change the quantity, by the store's own function."""
        self.published.add(index)
        scratch: Any = {index: copied(self._store.states[index])}
        trial = interpreted.kind(QuantityStore)(self.specs, scratch)
        trial.publish(index, int(value), int(status), bool(real))
        self.changes = self.changes or bool(trial.changed)


class RecordedPower:
    """The power state as a trial sees it: which of its fields are looked at."""

    def __init__(self, state: Any) -> None:
        """Stand in for the power state."""
        object.__setattr__(self, "_state", state)
        object.__setattr__(self, "looked_at", set())

    def __getattr__(self, name: str) -> Any:
        value = getattr(self._state, name)
        if not isinstance(value, int):
            raise UntraceableError(f"power.{name} is no number")
        self.looked_at.add(name)
        return interpreted.counterpart(value)

    def __setattr__(self, name: str, value: Any) -> None:
        raise UntraceableError("a step changes the power state")


@dataclass(slots=True)
class Opened:
    """A copied record, its original, and the recording numbers put into it."""

    original: Any
    copied: Any
    variables: dict[str, Variable] = field(default_factory=dict)
    constants: dict[str, Any] = field(default_factory=dict)
    lists: dict[str, list[Any]] = field(default_factory=dict)
    records: dict[str, Any] = field(default_factory=dict)


@cache
def _field_names(kind: Any) -> tuple[str, ...]:
    """Return the names of the fields of a kind of record."""
    return tuple(one.name for one in fields(kind))


def copied(record: Any) -> Any:
    """Return a copy of a state record, of the interpreted engine; what it holds is shared."""
    made: Any = interpreted.kind(record.__class__)
    twin = object.__new__(made)
    for name in _field_names(record.__class__):
        setattr(twin, name, interpreted.counterpart(getattr(record, name)))
    return twin


def open_record(original: Any, found: list[Opened]) -> Any:
    """Return a copy of a state record, of the interpreted engine, whose plain numbers record."""
    made: Any = interpreted.kind(original.__class__)
    twin = object.__new__(made)
    numbers = Opened(original, twin)
    found.append(numbers)
    for name in _field_names(original.__class__):
        value = getattr(original, name)
        if type(value) is int:
            variable = numbers.variables[name] = Variable(value)
            setattr(twin, name, Recorded(variable))
        elif value is None or isinstance(value, int | str | bytes | tuple):
            constant = numbers.constants[name] = interpreted.counterpart(value)
            setattr(twin, name, constant)
        elif isinstance(value, list):
            parts = [open_record(part, found) for part in value]
            numbers.lists[name] = parts
            setattr(twin, name, list(parts))
        elif is_dataclass(value) and hasattr(value, "FIELDS"):
            part = numbers.records[name] = open_record(value, found)
            setattr(twin, name, part)
        else:
            raise UntraceableError(f"{name} is a {type(value).__name__}")
    return twin


def _runs(variable: Variable, step: int) -> int:
    """Return how many runs find an advancing number inside its range, the one tried included."""
    if step > 0 and variable.high < HIGHEST:
        return (variable.high - variable.value) // step + 1
    if step < 0 and variable.low > LOWEST:
        return (variable.value - variable.low) // -step + 1
    return FOREVER


def attempt(step: Callable[[Any, Any], Any], state: Any, store: RecordedStore) -> Rest | None:
    """Return what keeps a step at rest, or None when it is not; `step(state copy, store)` runs it.

    Nothing but copies is touched. A step that cannot be followed is not at rest.
    """
    opened: list[Opened] = []
    try:
        step(open_record(state, opened), store)
    except (UntraceableError, AttributeError, TypeError):
        return None
    return judge(opened, store)


def judge(opened: list[Opened], store: RecordedStore) -> Rest | None:
    """Return what keeps the opened records as they are after a step was run on them, or None."""
    if store.changes or not all(map(_unchanged, opened)):
        return None
    steps: dict[int, int] = {}
    numbers = [
        (one, name, variable, getattr(one.copied, name))
        for one in opened
        for name, variable in one.variables.items()
    ]
    for _, _, variable, after in numbers:
        if isinstance(after, Recorded) and after.variable is variable:
            steps[id(variable)] = after.offset
    moving: list[tuple[Opened, str, Variable, int]] = []
    for one, name, variable, after in numbers:
        step = steps.get(id(variable))
        if step is None and isinstance(after, Recorded):
            # Another number put here: it goes on as that one does, if it has done so already.
            other = steps.get(id(after.variable), 0)
            if other and after.variable.value + after.offset == variable.value + other:
                step = other
        if step is not None:
            if step:
                moving.append((one, name, variable, step))
        elif not isinstance(after, Recorded | int) or int(after) != variable.value:
            return None
    # Only now every range is final: a number put elsewhere has been pinned.
    advances = [Advance(one.original, name, step) for one, name, _, step in moving]
    runs = min((_runs(variable, step) for _, _, variable, step in moving), default=FOREVER)
    ranges = {
        index: (quantity.variable.low, quantity.variable.high)
        for index, quantity in store.read.items()
    }
    return Rest(ranges, advances, runs, set(), set(store.published))


def _unchanged(numbers: Opened) -> bool:
    """Return whether everything in a record that is no plain number is as it was."""
    for name, constant in numbers.constants.items():
        after = getattr(numbers.copied, name)
        if type(after) is not type(constant) or after != constant:
            return False
    if any(getattr(numbers.copied, name) is not part for name, part in numbers.records.items()):
        return False
    for name, parts in numbers.lists.items():
        after = getattr(numbers.copied, name)
        if len(after) != len(parts) or any(a is not b for a, b in zip(after, parts, strict=True)):
            return False
    return True
