"""Laying options over the tables of bridge.toml, key by key, with every conflict named.

Tables are merged down to the keys of one named thing (a quantity, a message, a function); a value
there, a list or an inline table too, is replaced as a whole. Functions are found by their name. Key
paths keep the file and line of whoever wrote them last.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from xlate_core.pairing.options import Option, told
from xlate_core.pairing.positions import KeyPath, Positions, show_path
from xlate_core.pairing.problems import PairingError, Problem, nearest_name

BY_BUS = ("receive", "transmit")
INSIDE_MESSAGES = ("signals", "unit", "path")
FUNCTION = "function"
REMOVED = object()


@dataclass(slots=True)
class Touch:
    """What the last of the chosen options did to a key path: a new value, or taken out."""

    option: Option
    value: object


@dataclass(slots=True)
class Overlay:
    """The tables while options are laid on; functions are a table by name meanwhile."""

    tables: dict[str, Any]
    positions: Positions
    touched: dict[KeyPath, Touch] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def lay_on(tables: dict[str, Any], positions: Positions, chosen: list[Option]) -> None:
    """Change tables and positions to the resolved view; PairingError names every conflict."""
    overlay = Overlay(tables, positions)
    _functions_by_name(tables, positions)
    for option in chosen:
        own_tables = dict(option.tables)
        own_positions = Positions(dict(option.positions.lines), option.file)
        _functions_by_name(own_tables, own_positions)
        for index, text in enumerate(option.head.remove):
            _remove(overlay, option, ("option", "remove", index), tuple(text.split(".")))
        for path, value in _values(own_tables, ()):
            _set(overlay, option, own_positions, path, value)
    _functions_by_index(tables, positions)
    if overlay.problems:
        raise PairingError(overlay.problems)


def keys_of(option: Option) -> list[str]:
    """Return what an option sets and takes out, as key paths; functions by name."""
    tables, positions = dict(option.tables), Positions(dict(option.positions.lines))
    _functions_by_name(tables, positions)
    taken = [f"without {text}" for text in option.head.remove]
    return taken + [".".join(map(str, path)) for path, _ in _values(tables, ())]


def _merged(path: KeyPath) -> bool:
    """Return whether tables at this path are merged instead of replaced."""
    if len(path) <= 2:
        return True
    if path[0] not in BY_BUS:
        return False
    return len(path) == 3 or (len(path) == 4 and path[3] in INSIDE_MESSAGES)


def _values(value: dict[str, Any], path: KeyPath) -> Iterator[tuple[KeyPath, object]]:
    """Yield the path of every value that is set as a whole."""
    for key, item in value.items():
        here = (*path, key)
        if isinstance(item, dict) and _merged(here) and item:
            yield from _values(item, here)
        else:
            yield here, item


def _remove(overlay: Overlay, option: Option, where: KeyPath, path: KeyPath) -> None:
    table: Any = overlay.tables
    for depth, key in enumerate(path):
        if not isinstance(table, dict) or key not in table:
            names = list(table) if isinstance(table, dict) else []
            above = f"in {show_path(path[:depth])}" if depth else "of bridge.toml"
            found = f'"{show_path(path)}"'
            nearest = nearest_name(str(key), names)
            overlay.problems.append(
                told(option, where, found, f"the name of a key {above}", nearest)
            )
            return
        if depth == len(path) - 1:
            break
        table = table[key]
    _claim(overlay, option, where, path, REMOVED)
    del table[path[-1]]
    _forget(overlay.positions, path)


def _set(
    overlay: Overlay, option: Option, own_positions: Positions, path: KeyPath, value: object
) -> None:
    table: Any = overlay.tables
    for depth, key in enumerate(path[:-1], start=1):
        table = table.setdefault(key, {})
        if not isinstance(table, dict):
            found = f"a table {show_path(path[:depth])}"
            overlay.problems.append(
                told(option, _written(option, path), found, "a value, as bridge.toml has there")
            )
            return
    _claim(overlay, option, path, path, value)
    table[path[-1]] = value
    _forget(overlay.positions, path)
    for own, line in own_positions.lines.items():
        inside = own[: len(path)] == path
        above = path[: len(own)] == own and own not in overlay.positions.lines
        if inside or above:
            overlay.positions.lines[own] = line
            overlay.positions.files[own] = option.file


def _claim(overlay: Overlay, option: Option, where: KeyPath, path: KeyPath, value: object) -> None:
    """Note what an option does to a path; a conflict with an earlier option is a problem."""
    for other_path, touch in overlay.touched.items():
        shorter = min(len(path), len(other_path))
        if path[:shorter] != other_path[:shorter] or touch.option is option:
            continue
        if touch.option.name in option.head.overrides:
            continue
        if path == other_path and value is not REMOVED and touch.value == value:
            continue
        verb = "takes out" if touch.value is REMOVED else "sets"
        file, line = touch.option.positions.place(_written(touch.option, other_path))
        found = f"{show_path(path)} in option {option.name}, while option {touch.option.name} "
        found += f"{verb} {show_path(other_path)} ({file}:{line})"
        expected = f'one of both, or overrides = ["{touch.option.name}"] in {option.name}'
        overlay.problems.append(told(option, _written(option, where), found, expected))
    overlay.touched[path] = Touch(option, value)


def _written(option: Option, path: KeyPath) -> KeyPath:
    """Return a path as the option's file has it: functions by index, removals in their list."""
    text = ".".join(map(str, path))
    if text in option.head.remove:
        return ("option", "remove", option.head.remove.index(text))
    if len(path) > 1 and path[0] == FUNCTION:
        for index, function in enumerate(option.tables.get(FUNCTION, ())):
            if isinstance(function, dict) and function.get("name") == path[1]:
                return (FUNCTION, index, *path[2:])
    return path


def _forget(positions: Positions, path: KeyPath) -> None:
    for known in [one for one in positions.lines if one[: len(path)] == path]:
        del positions.lines[known]
        positions.files.pop(known, None)


def _functions_by_name(tables: dict[str, Any], positions: Positions) -> None:
    """Turn the list of functions into a table by name; one without a name of its own keeps #n."""
    functions = tables.get(FUNCTION)
    if not isinstance(functions, list):
        return
    named: dict[str, Any] = {}
    for index, function in enumerate(functions):
        name = function.get("name") if isinstance(function, dict) else None
        named[name if isinstance(name, str) and name not in named else f"#{index}"] = function
    tables[FUNCTION] = {
        key: dict(one) if isinstance(one, dict) else one for key, one in named.items()
    }
    _rename(positions, dict(enumerate(named)))


def _functions_by_index(tables: dict[str, Any], positions: Positions) -> None:
    """Turn the table of functions back into the list that bridge.toml has."""
    functions = tables.get(FUNCTION)
    if isinstance(functions, dict):
        tables[FUNCTION] = list(functions.values())
        _rename(positions, {name: index for index, name in enumerate(functions)})


def _rename(positions: Positions, names: "dict[Any, Any]") -> None:
    def renamed(path: KeyPath) -> KeyPath:
        if len(path) > 1 and path[0] == FUNCTION and path[1] in names:
            return (FUNCTION, names[path[1]], *path[2:])
        return path

    positions.lines = {renamed(path): line for path, line in positions.lines.items()}
    positions.files = {renamed(path): file for path, file in positions.files.items()}
