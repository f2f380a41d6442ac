"""Which requirement speaks of which output, fault and situation."""

import fnmatch
from collections.abc import Iterable

from tools.failsafe.faults import Fault
from tools.failsafe.names import TableNames
from tools.failsafe.schema import Choices, RequiredFile, RequireTable

Situation = tuple[tuple[str, str], ...]  # (axis, choice) in the order of the axes


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


class Speaking:
    """Finds the requirement that speaks: the first in the file counts. Looked up once a fault."""

    def __init__(self, names: TableNames, tables: RequiredFile) -> None:
        """Find the outputs of every requirement."""
        self._tables = tables
        self._outputs = {
            require.id: {output for output in names.outputs if fits(output, require.outputs)}
            for require in tables.require
        }
        self._of_fault: dict[str, tuple[RequireTable, ...]] = {}

    def all_of(self, fault: Fault) -> tuple[RequireTable, ...]:
        """Return the requirements that speak of a fault, for any output and situation."""
        if fault.name not in self._of_fault:
            self._of_fault[fault.name] = tuple(
                require for require in self._tables.require if _speaks_of(require, fault)
            )
        return self._of_fault[fault.name]

    def first(self, output: str, fault: Fault, situation: Situation) -> RequireTable | None:
        """Return the requirement for an output under a fault in a situation, None without one."""
        for require in self.all_of(fault):
            if output in self._outputs[require.id] and holds_in(require.situations, situation):
                return require
        return None

    def longest_ms(self, fault: Fault, situation: Situation) -> int:
        """Return the longest time somebody allows for a fault in a situation, in ms."""
        allowed = (
            require.within_ms
            for require in self.all_of(fault)
            if holds_in(require.situations, situation)
        )
        return max(allowed, default=0)


def _speaks_of(require: RequireTable, fault: Fault) -> bool:
    """Return whether a requirement speaks of a fault: of itself, or of one of its parts."""
    if fits(fault.kind, require.faults) and fits(fault.subject, require.of):
        return True
    return any(_speaks_of(require, part) for part in fault.parts)
