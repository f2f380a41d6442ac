"""What a person requires: `fixtures/tables/PAIRING/required.toml`, checked before anything runs.

The manual of the file is `tools/failsafe/REQUIRED.md`. Every name is held against the pairing; all
problems come in one run, with line and nearest valid name.
"""

import fnmatch
import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from tools.failsafe.faults import CLASSES, faults
from tools.failsafe.names import TableNames
from xlate_core.errors import InputError
from xlate_core.pairing.exact import Physical
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.problems import Collector, PairingError
from xlate_core.pairing.reading import collect_error, parse
from xlate_core.pairing.schema_functions import StrictTable

FILE = "required.toml"
PHASE_STEP, PHASES = 7, 100  # ticks
Situation = tuple[tuple[str, str], ...]  # (axis, choice) in the order of the axes
Choices = dict[str, list[str]]
Setting = Physical | str


class ChoiceTable(StrictTable):
    """One choice of an axis: what is set, and with which choices of others it can occur."""

    words: str = Field("", description="what it means")
    set: dict[str, Setting] = Field(
        {}, description="signals (physical or text), input pins (active, inactive, counts), supply"
    )
    only: Choices = Field({}, description="choices of other axes it can occur with")
    first: dict[str, Setting] = Field({}, description="what is set before, to come from there")
    settle_ms: int = Field(0, ge=0, le=60000, description="time to reach it, if not the file's")
    after_fault: str = Field("", description="'class of subject' that came and went before")


class RequireTable(StrictTable):
    """One requirement."""

    id: str = Field(pattern=r"^[A-Z][A-Z0-9-]*$", description="its name for life")
    outputs: list[str] = Field(min_length=1, description="output.NAME or bus.MESSAGE.Signal, *")
    faults: list[str] = Field(min_length=1, description="classes of faults")
    of: list[str] = Field(["*"], description="messages, signals, pins or buses at fault, *")
    situations: Choices = Field({}, description="axis -> choices; axes left out: any")
    hazard: str = Field(description="what can hurt, in words")
    state: Setting = Field(
        description="on, off, silent, not available, unchanged, gaps, or a value in the unit"
    )
    within_ms: int = Field(ge=0, description="longest time from the fault to the state, ms")
    because: str = Field(description="source of the time and reason of the choice")
    actuator_ms: int = Field(0, ge=0, description="time the actuator itself takes, ms")
    recovery: Literal["returns", "next ignition cycle", "stays", "any"] = Field(
        "returns", description="what the output does when the fault is gone"
    )
    indication: list[str] = Field([], description="outputs that tell the driver, on")
    safer: str = Field("", description="which state counts as safer here, and why")
    undetected_reason: str = Field("", description="why no detection is possible or wanted")


class NotApplicableTable(StrictTable):
    """Faults that do not apply to this module."""

    faults: list[str] = Field(min_length=1, description="classes of faults")
    of: list[str] = Field(["*"], description="messages, signals, pins or buses")
    outputs: list[str] = Field(["*"], description="outputs")
    situations: Choices = Field({}, description="axis -> choices; axes left out: any")
    reason: str = Field(min_length=10, description="why")


class GroupTable(StrictTable):
    """Faults that come together: one supply, one plug, one cable."""

    words: str = Field(description="what they share")
    faults: list[str] = Field(min_length=2, description="'class of subject', each")


class ContradictionTable(StrictTable):
    """Switches that contradict each other."""

    words: str = Field(description="what contradicts what")
    set: dict[str, Setting] = Field(min_length=1, description="signals and pins as they stand then")


class InteractionTable(StrictTable):
    """Things that meet: a fault, and something else that happens while it lasts."""

    id: str = Field(pattern=r"^[A-Z][A-Z0-9-]*$", description="its name for life")
    words: str = Field(min_length=1, description="what meets what")
    not_applicable: str = Field("", description="why it cannot happen here; then nothing else")
    situations: Choices = Field({}, description="axis -> choices; the first one that fits")
    faults: list[str] = Field([], description="'class of subject', made one after the other")
    after_ms: int = Field(0, ge=0, le=60000, description="time between the faults and `then`")
    then: dict[str, Setting] = Field({}, description="what is set afterwards")
    outputs: list[str] = Field([], description="outputs it is judged by")
    state: Setting = Field("unchanged", description="required state, as in a requirement")
    within_ms: int = Field(0, ge=0, le=60000, description="longest time to it")
    hazard: str = Field("", description="what can hurt, in words")
    because: str = Field("", description="source of the time and reason of the choice")


class RequiredFile(StrictTable):
    """The whole file."""

    format_: Literal[1] = Field(alias="format", description="format of this file: 1")
    settle_ms: int = Field(4000, ge=100, le=60000, description="time to reach a situation, ms")
    observe_ms: int = Field(1500, ge=100, le=60000, description="least time a fault is watched, ms")
    recover_ms: int = Field(
        4000, ge=100, le=60000, description="longest time to wait for recovery, ms"
    )
    axis: dict[str, dict[str, ChoiceTable]] = Field(description="axes of operating situations")
    require: Annotated[list[RequireTable], Field(min_length=1)] = Field(description="requirements")
    not_applicable: list[NotApplicableTable] = Field([], description="faults that do not apply")
    group: dict[str, GroupTable] = Field({}, description="dependent faults by name")
    contradiction: dict[str, ContradictionTable] = Field({}, description="contradictory switches")
    interaction: list[InteractionTable] = Field([], description="things that meet")
    pairs_in: Choices = Field(
        {}, description="situations in which all pairs of lost messages are tried; none: nowhere"
    )
    ignition: list[str] = Field([], description="input pins that end the ignition cycle")
    cycle_ms: int = Field(3000, ge=100, le=60000, description="how long they are off for it")
    assumption: list[str] = Field([], description="what the installer has to do")
    not_covered: list[str] = Field([], description="faults the table does not cover")


@dataclass(frozen=True, slots=True)
class Required:
    """The checked file: tables, and all reachable situations in order."""

    tables: RequiredFile
    situations: tuple[Situation, ...]
    path: Path
    digest: str  # SHA-256 of the file, in hex

    def phase_of(self, situation: Situation) -> int:
        """Return by how many ticks a situation is shifted against the cycles of the senders."""
        return PHASE_STEP * self.situations.index(situation) % PHASES

    def settings(self, situation: Situation) -> dict[str, Setting]:
        """Return everything that is set in a situation; a later axis wins."""
        settings: dict[str, Setting] = {}
        for axis, choice in situation:
            settings |= self.tables.axis[axis][choice].set
        return settings


def load_required(path: Path, names: TableNames) -> Required:
    """Read and check the file; raises InputError with every problem."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise InputError(
            f"{path.as_posix()}: found no such file, expected what a person requires of "
            f"{names.pairing.name}; tools/failsafe/REQUIRED.md is its manual"
        ) from None
    raw, collector = parse(data, path.as_posix())
    try:
        tables = RequiredFile.model_validate(raw)
    except ValidationError as error:
        schema = RequiredFile.model_json_schema(by_alias=True)
        for item in error.errors(include_url=False):
            collect_error(item, raw, schema, collector)
        raise PairingError(collector.problems) from None
    _Check(tables, names, collector).run()
    collector.raise_if_any()
    digest = hashlib.sha256(data).hexdigest()
    return Required(tables, tuple(reachable(tables)), path, digest)


def reachable(tables: RequiredFile) -> Iterator[Situation]:
    """Yield every combination of choices that can occur, in the order of axes and choices."""
    yield from _extend(tables, list(tables.axis), ())


def _extend(tables: RequiredFile, axes: list[str], so_far: Situation) -> Iterator[Situation]:
    if len(so_far) == len(axes):
        yield so_far
        return
    axis = axes[len(so_far)]
    for choice in tables.axis[axis]:
        situation = (*so_far, (axis, choice))
        if _allowed(tables, situation):
            yield from _extend(tables, axes, situation)


def _allowed(tables: RequiredFile, situation: Situation) -> bool:
    chosen = dict(situation)
    for axis, choice in situation:
        for other, choices in tables.axis[axis][choice].only.items():
            if other in chosen and chosen[other] not in choices:
                return False
    return True


def fits(text: str, patterns: Iterable[str]) -> bool:
    """Return whether a name fits one of the patterns."""
    return any(fnmatch.fnmatchcase(text, pattern) for pattern in patterns)


def holds_in(choices: Choices, situation: Situation) -> bool:
    """Return whether a situation is among the choices."""
    chosen = dict(situation)
    return all(chosen.get(axis) in wanted for axis, wanted in choices.items())


def show_situation(situation: Situation) -> str:
    """Return a situation as people read it."""
    return ", ".join(f"{axis} {choice}" for axis, choice in situation)


class _Check:
    """Holds every name of the file against the pairing."""

    def __init__(self, tables: RequiredFile, names: TableNames, collector: Collector) -> None:
        self.tables = tables
        self.names = names
        self.collector = collector
        self.known = [fault.name for fault in faults(names)]

    def run(self) -> None:
        """Collect every problem."""
        axes = self.tables.axis
        for axis, choices in axes.items():
            for choice, table in choices.items():
                path: KeyPath = ("axis", axis, choice)
                self._set((*path, "set"), table.set)
                self._set((*path, "first"), table.first)
                if table.after_fault:
                    self._fault((*path, "after_fault"), table.after_fault)
                self._choices((*path, "only"), table.only)
        subjects = (
            *self.names.subjects,
            *(f"group.{name}" for name in self.tables.group),
            *(f"contradiction.{name}" for name in self.tables.contradiction),
            *(" + ".join(pair) for pair in self._pairs()),
        )
        seen: dict[str, int] = {}
        for number, require in enumerate(self.tables.require):
            path = ("require", number)
            if require.id in seen:
                self.collector.add((*path, "id"), f'"{require.id}" again', "a name of its own")
            seen[require.id] = number
            self._patterns((*path, "outputs"), require.outputs, "an output", self.names.outputs)
            self._patterns((*path, "of"), require.of, "what can fail", subjects)
            self._classes((*path, "faults"), require.faults)
            self._choices((*path, "situations"), require.situations)
            self._patterns(
                (*path, "indication"), require.indication, "an output", self.names.outputs
            )
            self._state(path, require.outputs, require.state)
        for number, other in enumerate(self.tables.not_applicable):
            self._classes(("not_applicable", number, "faults"), other.faults)
            self._patterns(("not_applicable", number, "of"), other.of, "what can fail", subjects)
            self._choices(("not_applicable", number, "situations"), other.situations)
        for name, group in self.tables.group.items():
            for place, text in enumerate(group.faults):
                self._fault(("group", name, "faults", place), text)
        for name, contradiction in self.tables.contradiction.items():
            self._set(("contradiction", name, "set"), contradiction.set)
        self._choices(("pairs_in",), self.tables.pairs_in)
        for place, pin in enumerate(self.tables.ignition):
            pins = [f"input.{one}" for one in self.names.names.levels]
            if pin not in pins:
                self.collector.add_unknown(("ignition", place), "a level input", pin, pins)
        for number, one in enumerate(self.tables.interaction):
            self._interaction(("interaction", number), one)

    def _pairs(self) -> Iterator[tuple[str, str]]:
        """Yield the names of all pairs of faults that are tried."""
        yield from combinations((one for one in self.known if one.startswith("lost of ")), 2)
        for group in self.tables.group.values():
            yield from combinations(group.faults, 2)

    def _interaction(self, path: KeyPath, one: InteractionTable) -> None:
        if one.not_applicable:
            return
        if not one.outputs or not one.because:
            self.collector.add(path, f"{one.id}", "outputs and because, or not_applicable")
        for place, text in enumerate(one.faults):
            self._fault((*path, "faults", place), text)
        self._choices((*path, "situations"), one.situations)
        self._set((*path, "then"), one.then)
        self._patterns((*path, "outputs"), one.outputs, "an output", self.names.outputs)
        self._state(path, one.outputs, one.state)

    def _set(self, path: KeyPath, settings: dict[str, Setting]) -> None:
        for name, value in settings.items():
            problem = self.names.setting_problem(name, value)
            if problem is not None:
                self.collector.add((*path, name), *problem)

    def _fault(self, path: KeyPath, text: str) -> None:
        if text not in self.known:
            self.collector.add_unknown(path, "a fault, 'class of subject'", text, self.known)

    def _state(self, path: KeyPath, outputs: list[str], state: Setting) -> None:
        for output in self.names.outputs:
            if fits(output, outputs):
                problem = self.names.state_problem(output, state)
                if problem is not None:
                    self.collector.add((*path, "state"), *problem)
                    break

    def _classes(self, path: KeyPath, classes: list[str]) -> None:
        for number, one in enumerate(classes):
            if one != "*" and one not in CLASSES:
                self.collector.add_unknown((*path, number), "a class of faults", one, CLASSES)

    def _patterns(self, path: KeyPath, found: list[str], what: str, valid: Iterable[str]) -> None:
        names = list(valid)
        for number, pattern in enumerate(found):
            if not any(fnmatch.fnmatchcase(name, pattern) for name in names):
                self.collector.add_unknown((*path, number), what, pattern, names)

    def _choices(self, path: KeyPath, choices: dict[str, Any]) -> None:
        for axis, wanted in choices.items():
            if axis not in self.tables.axis:
                self.collector.add_unknown((*path, axis), "an axis", axis, self.tables.axis)
                continue
            for number, choice in enumerate(wanted):
                if choice not in self.tables.axis[axis]:
                    self.collector.add_unknown(
                        (*path, axis, number), f"a choice of {axis}", choice, self.tables.axis[axis]
                    )
