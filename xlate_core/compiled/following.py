"""Steps that cannot rest, because their inputs move, as straight-line text that does the same.

Whichever way a step goes is followed once (`written.py`). The ways make a tree of conditions, each
with what the step does at its end; nothing is changed before. Where no way leads on, the readable
step runs, and that way may be written next.
"""

from collections.abc import Callable, Sequence
from copy import copy
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

from xlate_core.bridge import Bridge
from xlate_core.compiled.program import functions_of
from xlate_core.compiled.text import Text
from xlate_core.compiled.tracing import UntraceableError
from xlate_core.compiled.written import Condition, Notes, Written, pinned, text_of
from xlate_core.functions import FUNCTIONS
from xlate_core.quantities import ORIGIN_PRODUCED, ORIGIN_SUBSTITUTE, VALID

RUNS_BEFORE = 40  # runs of the readable step before the first way is written
RUNS_BETWEEN = 4  # as many more for every way there is: the text grows with them
MOST_WAYS = 4  # of one function; one with more runs as it stands: writing its text never pays
DEEPEST = 60  # levels of the text

Ways = Callable[[], bool | None]


class Mover:
    """One vehicle function of one engine that has to be run on every control tick."""

    def __init__(self, bridge: Bridge, number: int) -> None:
        """Stand beside a function."""
        self.bridge = bridge
        self.spec: Any = bridge.spec.functions[number]
        self.step: Callable[..., bool] = FUNCTIONS[type(self.spec)][1]
        self.state: Any = bridge.control.functions[number]
        self.tree = Tree()
        self.bound: dict[str, Any] = {}
        self.ways: Ways = _no_way
        self.waits = RUNS_BEFORE
        self.written = 0

    def run(self) -> bool:
        """Run one control tick of the function; return whether its safe state is taken."""
        after = self.ways()
        if after is not None:
            return after
        self.waits -= 1
        if self.waits < 0 and self.written <= MOST_WAYS:
            self.written += 1
            self.waits = RUNS_BETWEEN * self.written
            if self.written <= MOST_WAYS:
                self._write()
            else:
                self._give_up()
        return self.step(self.spec, self.state, self.bridge.common.store, self.bridge.control.power)

    def _write(self) -> None:
        """Add the way the step goes now to the text, if it can be followed."""
        way = follow(self.bridge, self.step, self.spec, self.state)
        if way is None:
            self._give_up()
            return
        self.bound.update(way.bound)
        if not self.tree.add(way.lines, way.end):
            self._give_up()
            return
        text = Text()
        for name, value in self.bound.items():
            text.bind(name, value)
        with text.block(f"def ways({', '.join(f'{name}={name}' for name in self.bound)}):"):
            if self.tree.write(text) > DEEPEST:
                self._give_up()
                return
        self.ways = functions_of(text)["ways"]

    def _give_up(self) -> None:
        self.written = MOST_WAYS + 1
        self.ways = _no_way


def _no_way() -> None:
    return None


@dataclass(slots=True)
class Tree:
    """Ways with their common beginnings written once.

    Lines, then either the end of a way or a condition with what follows each answer.
    """

    lines: list[str] = field(default_factory=list)
    condition: str = ""
    answers: "dict[bool, Tree]" = field(default_factory=dict)
    end: tuple[str, ...] = ()

    def add(self, lines: Sequence[str | Condition], end: tuple[str, ...]) -> bool:
        """Add a way that is not there yet; False when it is none of the same step's."""
        node = self
        place = 0
        for one in lines:
            if isinstance(one, str):
                if place == len(node.lines):
                    node.lines.append(one)
                elif node.lines[place] != one:
                    return False
                place += 1
                continue
            while node.condition and node.condition != one.text:
                if not (one.holds and _same_but_value(node.condition, one.text)):
                    return False
                node = node.answers.setdefault(False, Tree())
            node.condition = one.text
            node = node.answers.setdefault(one.holds, Tree())
            place = 0
        node.end = end
        return True

    def write(self, text: Text, depth: int = 0) -> int:
        """Add the text; what no way goes returns None. Returns the deepest level."""
        text.add(*self.lines)
        if not self.condition:
            text.add(*self.end)
            return depth
        deepest = depth
        if len(self.answers) == 2:
            with text.block(f"if {self.condition}:"):
                deepest = self.answers[True].write(text, depth + 1)
            return max(deepest, self.answers[False].write(text, depth))
        ((holds, following),) = self.answers.items()
        text.add(f"if {'not ' if holds else ''}{self.condition}: return None")
        return following.write(text, depth)


def _same_but_value(one: str, other: str) -> bool:
    """Return whether two conditions ask whether the same number has this or that value."""
    return one.rpartition(" == ")[0] == other.rpartition(" == ")[0] != ""


@dataclass(frozen=True, slots=True)
class Way:
    """One way of a step: what it works out and on which conditions, and what it then does."""

    lines: tuple[str | Condition, ...]
    end: tuple[str, ...]
    bound: dict[str, Any]


def follow(bridge: Bridge, step: Callable[..., bool], spec: Any, state: Any) -> Way | None:
    """Return the way the step would go now; None when it cannot be followed.

    Nothing but copies is touched.
    """
    notes, text = Notes(), Text()
    store = _Store(bridge, notes, text)
    power = _Power(bridge.control.power, notes)
    text.bind("power", bridge.control.power)
    records: list[tuple[str, Any, Any, dict[str, Any]]] = []
    try:
        copied = _open(state, notes, text, records)
        after = bool(step(spec, copied, store, power))
        changes = [line for record in records for line in _changes(*record)]
    except (UntraceableError, AttributeError, TypeError):
        return None
    return Way(tuple(notes.lines), (*changes, *store.lines, f"return {after}"), dict(text.bound))


def _open(
    original: Any, notes: Notes, text: Text, found: list[tuple[str, Any, Any, dict[str, Any]]]
) -> Any:
    """Return a copy of a state record whose plain numbers are written ones."""
    name = text.bind(f"r{len(found)}", original)
    copied = copy(original)
    before: dict[str, Any] = {}
    found.append((name, original, copied, before))
    for one in fields(original):
        value = getattr(original, one.name)
        if type(value) is int:
            value = notes.work_out(f"{name}.{one.name}", value)
        elif type(value) is bool:
            notes.require(f"{name}.{one.name}", value)
        elif isinstance(value, list):
            value = [_open(part, notes, text, found) for part in value]
        elif is_dataclass(value) and hasattr(value, "FIELDS"):
            value = _open(value, notes, text, found)
        else:
            raise UntraceableError(f"{one.name} is a {type(value).__name__}")
        setattr(copied, one.name, value)
        before[one.name] = list(value) if isinstance(value, list) else value
    return copied


def _changes(name: str, original: Any, copied: Any, before: dict[str, Any]) -> list[str]:
    """Return the lines that put what a run left in a record's copy into the record."""
    lines = []
    for one in fields(original):
        start, after = before[one.name], getattr(copied, one.name)
        if isinstance(start, list):
            if len(after) != len(start) or any(
                a is not b for a, b in zip(after, start, strict=True)
            ):
                raise UntraceableError(f"{one.name} is another list")
        elif after is start:
            continue
        elif type(start) is bool and type(after) is bool:
            lines.append(f"{name}.{one.name} = {after}")
        elif isinstance(start, Written) and isinstance(after, int | Written):
            lines.append(f"{name}.{one.name} = {text_of(after)}")
        else:
            raise UntraceableError(f"{one.name} became a {type(after).__name__}")
    return lines


class _Quantity:
    """A quantity as a followed run sees it: its status and origin are conditions."""

    __slots__ = ("origin", "status", "value")

    def __init__(self, state: Any, name: str, notes: Notes) -> None:
        self.status, self.origin = int(state.status), int(state.origin)
        notes.require(f"{name}.status == {self.status}", True)
        notes.require(f"{name}.origin == {self.origin}", True)
        self.value = notes.work_out(f"{name}.value", state.value)


class _Store:
    """The store as a followed run sees it; publications are noted for the end."""

    def __init__(self, bridge: Bridge, notes: Notes, text: Text) -> None:
        self.lines: list[str] = []
        self.specs = bridge.common.store.specs
        self.states = self
        self._store = bridge.common.store
        self._notes = notes
        self._text = text
        self._read: dict[int, _Quantity] = {}
        self._published: set[int] = set()
        text.bind("publish", self._store.publish)

    def __getitem__(self, index: int) -> _Quantity:
        if type(index) is not int or index < 0:
            raise UntraceableError("no index of a quantity")
        if index in self._published:
            raise UntraceableError("a step reads what it published in the same run")
        if index not in self._read:
            name = self._text.bind(f"q{index}", self._store.states[index])
            self._read[index] = _Quantity(self._store.states[index], name, self._notes)
        return self._read[index]

    def publish(self, index: int, value: Any, status: Any = VALID, real: Any = True) -> None:
        if type(index) is not int or index < 0:
            raise UntraceableError("no index of a quantity")
        self._published.add(index)
        name = self._text.bind(f"q{index}", self._store.states[index])
        spec, told, status, real = self.specs[index], text_of(value), pinned(status), bool(real)
        line = f"publish({index}, {told}, {status}, {real})"
        if spec.low <= spec.initial <= spec.high:  # then a value that is there is inside its range
            origin = ORIGIN_PRODUCED if real else ORIGIN_SUBSTITUTE
            same = f"{name}.value == {told} and {name}.status == {status}"
            line = f"if not ({same} and {name}.origin == {origin}): {line}"
        self.lines.append(line)


class _Power:
    """The power state as a followed run sees it: every field looked at is a condition."""

    _notes: Notes
    _state: Any

    def __init__(self, state: Any, notes: Notes) -> None:
        object.__setattr__(self, "_state", state)
        object.__setattr__(self, "_notes", notes)

    def __getattr__(self, name: str) -> int:
        value = getattr(self._state, name)
        if not isinstance(value, int):
            raise UntraceableError(f"power.{name} is no number")
        self._notes.require(f"power.{name} == {int(value)}", True)
        return value

    def __setattr__(self, name: str, value: Any) -> None:
        raise UntraceableError("a step changes the power state")
