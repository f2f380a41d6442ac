"""Holds every name of `required.toml` against the pairing; all problems in one run."""

from collections.abc import Iterable, Iterator
from itertools import combinations
from typing import Any

from tools.failsafe.faults import CLASSES, faults
from tools.failsafe.matching import fits
from tools.failsafe.names import TableNames
from tools.failsafe.schema import InteractionTable, RequiredFile, Setting
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.problems import Collector


class Check:
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
                self._set((*path, "then"), table.then)
                if table.after_fault:
                    self._fault((*path, "after_fault"), table.after_fault)
                self._choices((*path, "only"), table.only)
                for output, state in table.shows.items():
                    shows = (*path, "shows", output)
                    self._patterns(shows, [output], "an output", self.names.outputs)
                    self._state(shows, [output], state)
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
            outputs = (*self.names.outputs, "module")  # of a fault without an output of its own
            self._patterns(
                ("not_applicable", number, "outputs"), other.outputs, "an output", outputs
            )
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
            if not any(fits(name, [pattern]) for name in names):
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
