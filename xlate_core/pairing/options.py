"""Options of a pairing: files in its folder `options`, each an overlay of bridge.toml.

A choice is written behind the folder: `wiring+fans_by_controller+pump_by_controller`. Overlays are
laid on in the order their files declare, never in the order of writing, so one choice is one
resolved view with one digest. overlays.py lays them on.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from xlate_core.errors import reason_of
from xlate_core.pairing.positions import Positions
from xlate_core.pairing.problems import Collector, PairingError, Problem, nearest_name
from xlate_core.pairing.reading import collect_error, parse
from xlate_core.pairing.schema import json_schema
from xlate_core.pairing.schema_functions import StrictTable

FOLDER = "options"
MARK = "+"
FORBIDDEN = ("format", "name", "description")  # they belong to the pairing, not to a choice

Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]


class OptionTable(StrictTable):
    """The table [option] of a file in the folder `options`."""

    format_: Literal[1] = Field(alias="format", description="format of this file: 1")
    name: Name = Field(description="name of the option, that of its file")
    group: Name = Field(description="what is chosen here; of one group at most one option")
    order: int = Field(ge=1, le=9999, description="place among the overlays, lowest first")
    description: str = Field(min_length=1, description="one sentence about the choice")
    needs: list[Name] = Field([], description="options that must be chosen as well")
    overrides: list[Name] = Field([], description="earlier options whose keys it may replace")
    remove: list[str] = Field([], description='key paths to take out, as "function.fans"')


class OptionHead(StrictTable):
    """An option's file without the tables it lays over those of bridge.toml."""

    option: OptionTable = Field(description="what this file is")


@dataclass(frozen=True, slots=True)
class Option:
    """One option: its head, the tables it lays over, and where they stand."""

    head: OptionTable
    tables: dict[str, Any]
    positions: Positions
    file: str

    @property
    def name(self) -> str:
        """The name of the option."""
        return self.head.name


def split(directory: Path) -> tuple[Path, tuple[str, ...]]:
    """Return the folder of the pairing, and the names of the options behind it."""
    base, *names = directory.name.split(MARK)
    return (directory.parent / base, tuple(names)) if names else (directory, ())


def joined(directory: Path, names: Iterable[str]) -> Path:
    """Return the folder with a choice behind it."""
    return directory.parent / MARK.join((directory.name, *names))


def read_options(directory: Path) -> dict[str, Option]:
    """Return all options of a pairing in their order; PairingError with every problem."""
    found: list[Option] = []
    problems: list[Problem] = []
    for path in sorted((directory / FOLDER).glob("*.toml")):
        try:
            found.append(_read(path))
        except PairingError as error:
            problems += error.problems
    found.sort(key=lambda option: option.head.order)
    options = {option.name: option for option in found}
    problems += [problem for option in found for problem in _odd(option, options)]
    if problems:
        raise PairingError(problems)
    return options


def _read(path: Path) -> Option:
    file = f"{FOLDER}/{path.name}"
    try:
        data = path.read_bytes()
    except OSError as error:
        reason = reason_of(error)
        raise PairingError([Problem(file, None, "", reason, "a readable file")]) from None
    raw, collector = parse(data, file)
    for key in FORBIDDEN:
        if key in raw:
            collector.add((key,), f'key "{key}"', "a table [option] and tables of bridge.toml")
    head = _head(raw, collector)
    collector.raise_if_any()
    if head is None:
        raise AssertionError("a refused head without a problem")
    if head.name != path.stem:
        collector.add(("option", "name"), f'"{head.name}"', f'"{path.stem}", the name of the file')
        collector.raise_if_any()
    tables = {key: value for key, value in raw.items() if key != "option"}
    return Option(head, tables, collector.positions, file)


def _head(raw: dict[str, Any], collector: Collector) -> OptionTable | None:
    own = {key: value for key, value in raw.items() if key == "option"}
    try:
        return OptionHead.model_validate(own).option
    except ValidationError as error:
        items = error.errors(include_url=False)
    schema = OptionHead.model_json_schema(by_alias=True)
    for item in items:
        collect_error(item, own, schema, collector)
    return None


def _odd(option: Option, options: dict[str, Option]) -> Iterator[Problem]:
    """Yield what does not fit among the options of one pairing."""
    head = option.head
    for other in options.values():
        if other is not option and other.head.order == head.order and other.name < option.name:
            expected = f"a place of its own; {other.name} has this one"
            yield told(option, ("option", "order"), str(head.order), expected)
    for key, names in (("needs", head.needs), ("overrides", head.overrides)):
        for index, name in enumerate(names):
            path = ("option", key, index)
            if name not in options or name == head.name:
                nearest = nearest_name(name, options.keys() - {head.name})
                expected = "the name of another option of this pairing"
                yield told(option, path, f'"{name}"', expected, nearest)
            elif key == "overrides" and options[name].head.order > head.order:
                yield told(option, path, f'"{name}", which comes later', "an earlier option")


def told(
    option: Option,
    path: tuple[str | int, ...],
    found: str,
    expected: str,
    nearest: str | None = None,
) -> Problem:
    """Return a problem of an option's file with its line."""
    collector = Collector(option.positions)
    collector.add(path, found, expected, nearest)
    return collector.problems[0]


def choose(options: dict[str, Option], names: Sequence[str]) -> list[Option]:
    """Return the chosen options in the order they are laid on; PairingError names conflicts."""
    problems = []
    for index, name in enumerate(names):
        if name not in options:
            known = ", ".join(options) or "this pairing has none"
            nearest = nearest_name(name, options)
            problems.append(
                Problem(FOLDER, None, "", f'option "{name}"', f"one of: {known}", nearest)
            )
        elif name in names[:index]:
            problems.append(Problem(FOLDER, None, "", f'option "{name}" twice', "each option once"))
    if problems:
        raise PairingError(problems)
    chosen = [option for option in options.values() if option.name in names]
    for first, second in combinations(chosen, 2):
        if first.head.group == second.head.group:
            found = f"{first.name} and {second.name}, both of group {first.head.group}"
            expected = "at most one option of a group"
            problems.append(told(second, ("option", "group"), found, expected))
    for option in chosen:
        for index, name in enumerate(option.head.needs):
            if name not in names:
                found = f"{option.name} without {name}"
                expected = f"{name} to be chosen as well"
                problems.append(told(option, ("option", "needs", index), found, expected))
    if problems:
        raise PairingError(problems)
    return chosen


def choices(options: dict[str, Option]) -> list[tuple[str, ...]]:
    """Return every choice that must be proven: none, each option, each pair of two groups.

    An option that needs others comes with them.
    """
    found: dict[tuple[str, ...], None] = {(): None}
    for count in (1, 2):
        for several in combinations(options.values(), count):
            names = _with_needs(options, [option.name for option in several])
            groups = [options[name].head.group for name in names]
            if len(set(groups)) == len(groups):
                found[names] = None
    return list(found)


def _with_needs(options: dict[str, Option], names: list[str]) -> tuple[str, ...]:
    wanted, open_ = set(names), list(names)
    while open_:
        more = [name for name in options[open_.pop()].head.needs if name not in wanted]
        wanted |= set(more)
        open_ += more
    return tuple(name for name in options if name in wanted)


def option_schema() -> dict[str, Any]:
    """Return the JSON Schema of an option's file: [option] in full, the names of all other tables.

    What stands in those is a part of what bridge.toml may hold, judged when it is laid on.
    """
    tables = {
        name: {"type": "array" if one.get("type") == "array" else "object"}
        for name, one in json_schema()["properties"].items()
        if name not in FORBIDDEN
    }
    head = OptionTable.model_json_schema(by_alias=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "OptionFile",
        "description": "An option of a pairing, laid over bridge.toml.",
        "type": "object",
        "properties": {"option": head, **tables},
        "required": ["option"],
        "additionalProperties": False,
    }
