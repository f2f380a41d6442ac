"""All scenarios and all vectors: generate, verify, and the flags they hunt."""

import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from hil.vectors.errors import ScenarioError, at_line, nearest
from hil.vectors.generation import Generated, generate
from hil.vectors.names import Names
from hil.vectors.reading import header_alone, pairing_name, read_text
from hil.vectors.vector import SUFFIXES, load_vector, put_vector
from hil.vectors.words import split_lines
from xlate_core.errors import InputError, reason_of

NamesOf = Callable[[str], Names]
SCENARIO_SUFFIX = ".scenario"
EXPECT = re.compile(r"^[ \t]*expect\b", re.MULTILINE)
RANDOM_COST = 2  # a tick of random traffic takes about so many times as long as another
START_COST = 300  # what it takes to begin a scenario, in milliseconds of one
BATCH_COST = 15_000  # a batch is shorter, unless it is one scenario


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one scenario: its result, or the sentence of its mistake."""

    scenario: Path
    pairing: str
    generated: Generated | None
    problem: str


def find_scenarios(paths: Sequence[Path], default: Path) -> list[Path]:
    """Return the scenario files of the given files and folders, or of the default folder."""
    found: list[Path] = []
    for path in paths or [default]:
        if path.is_dir():
            inside = sorted(path.rglob(f"*{SCENARIO_SUFFIX}"))
            if not inside:
                raise ScenarioError(f"{path}: no scenario here; expected *.scenario files")
            found += inside
        elif path.is_file() and path.suffix == SCENARIO_SUFFIX:
            found.append(path)
        else:
            siblings = [one.name for one in path.parent.glob("*")] if path.parent.is_dir() else []
            raise ScenarioError(
                f"{path}: no scenario; expected a file *.scenario or a folder"
                f"{nearest(path.name, siblings)}"
            )
    return list(dict.fromkeys(found))


def scenarios_of(paths: Sequence[Path], source: Path) -> list[Path]:
    """Return the scenarios of vectors, scenarios and folders of scenarios."""
    found: list[Path] = []
    for path in paths:
        if path.name.endswith(SUFFIXES):
            header = load_vector(path).header
            found += find_scenarios([source / header.pairing / header.scenario], source)
        else:
            found += find_scenarios([path], source)
    return list(dict.fromkeys(found)) if paths else find_scenarios((), source)


def outcomes(scenarios: Sequence[Path], names_of: NamesOf, fast: bool = False) -> Iterator[Outcome]:
    """Play every scenario on the reference; a mistake in one does not stop the others.

    With `fast` its fast form plays, which does the same.
    """
    for path in scenarios:
        pairing = ""
        try:
            pairing = pairing_name(path, read_text(path))
            yield Outcome(path, pairing, generate(path, names_of(pairing), fast), "")
        except InputError as error:
            yield Outcome(path, pairing, None, str(error))


@dataclass(frozen=True, slots=True)
class Outline:
    """What a scenario's header and a glance at the rest tell.

    `cost` is about how long it takes to play, in milliseconds of it.
    """

    pairing: str
    expects: bool
    cost: int


def outline(scenario: Path, flags: Collection[str] | None = None) -> Outline:
    """Return the outline of a scenario; ScenarioError for a faulty header.

    With `flags`, a header that hunts another flag is faulty.
    """
    text = read_text(scenario)
    header = header_alone(scenario, text)
    if flags is not None and not all(flag in flags for flag in header.hunts):
        raise ScenarioError("\n".join(unknown_flags(scenario, text, flags)))
    cost = header.ticks if header.random is None else header.ticks * RANDOM_COST
    return Outline(header.pairing, EXPECT.search(text) is not None, cost)


@dataclass(frozen=True, slots=True)
class Batch:
    """Scenarios of one pairing that one process plays one behind the other."""

    pairing: str
    expects: bool
    scenarios: tuple[Path, ...]
    cost: int


def batches(scenarios: Sequence[Path], flags: Collection[str] | None = None) -> list[Batch]:
    """Return scenarios in batches: those of which somebody expects something first.

    The others (random traffic mostly) can only yield vectors, no verdict. Among both the longest
    batches come first, so that none is waited for at the end. Raises ScenarioError with every
    header that `outline` finds faulty: which of both such a scenario is nobody knows.
    """
    mistakes: list[str] = []
    groups: dict[tuple[bool, str], list[tuple[Path, int]]] = {}
    for path in scenarios:
        try:
            one = outline(path, flags)
        except ScenarioError as error:
            mistakes.append(str(error))
            continue
        groups.setdefault((one.expects, one.pairing), []).append((path, one.cost + START_COST))
    if mistakes:
        raise ScenarioError("\n".join(mistakes))
    found: list[Batch] = []
    for (expects, pairing), members in groups.items():
        members.sort(key=lambda member: -member[1])
        while members:
            taken = [members.pop(0)]
            while members and sum(cost for _, cost in taken) + members[0][1] <= BATCH_COST:
                taken.append(members.pop(0))
            paths = tuple(path for path, _ in taken)
            found.append(Batch(pairing, expects, paths, sum(cost for _, cost in taken)))
    return sorted(found, key=lambda batch: (not batch.expects, -batch.cost))


def disagreement_lines(outcome: Outcome) -> list[str]:
    """Return where the reference disagrees with the person, with file and line."""
    if outcome.generated is None:
        return []
    return [
        f"{outcome.scenario}:{one.line}: {one.expectation}: {one.observed}"
        for one in outcome.generated.disagreements
    ]


def write(outcome: Outcome, folder: Path) -> Path:
    """Write the vector of an outcome without disagreements."""
    if outcome.generated is None or outcome.generated.disagreements:
        raise ValueError("only a scenario that the reference agrees with becomes a vector")
    generated = outcome.generated
    return put_vector(
        folder / outcome.pairing, generated.identity, generated.suffix, generated.content
    )


def verify_one(outcome: Outcome, folder: Path) -> str:
    """Return why the committed vector is not what the scenario yields, or an empty text."""
    if outcome.generated is None:
        return outcome.problem
    generated = outcome.generated
    path = folder / outcome.pairing / f"{generated.identity}{generated.suffix}"
    try:
        committed = path.read_bytes()
    except OSError:
        return f"{path}: the vector of {outcome.scenario.name} is not there; generate it"
    if committed != generated.content:
        return f"{path}: differs from what {outcome.scenario.name} yields today; generate it"
    return ""


def strays(checked: Sequence[Outcome], folder: Path) -> list[Path]:
    """Return vector files that no scenario yields."""
    belonging = set()
    for outcome in checked:
        if outcome.generated is not None:
            name = f"{outcome.generated.identity}{outcome.generated.suffix}"
            belonging.add(folder / outcome.pairing / name)
        else:
            belonging |= {
                folder / outcome.pairing / f"{outcome.scenario.stem}{suffix}" for suffix in SUFFIXES
            }
    files = {path for path in folder.rglob("*") if path.is_file() and path.name.endswith(SUFFIXES)}
    return sorted(files - belonging)


def load_flags(path: Path) -> dict[str, str]:
    """Return each hunt flag with its explanation: `[flags]`, one `name = "sentence"` each."""
    try:
        with path.open("rb") as file:
            table = tomllib.load(file)
    except OSError as error:
        raise InputError(f"{path}: {reason_of(error)}; expected the table of hunt flags") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path}: {error}") from None
    flags = table.get("flags")
    if not isinstance(flags, dict) or not all(isinstance(text, str) for text in flags.values()):
        raise InputError(f'{path}: expected a table [flags] with lines `name = "sentence"`')
    return flags


def unknown_flags(scenario: Path, text: str, flags: Collection[str]) -> list[str]:
    """Return a sentence for each flag of a scenario that nothing explains."""
    return [
        at_line(
            scenario,
            words.line,
            f"hunts `{flag}`, expected a flag that fixtures/flags.toml explains"
            f"{nearest(flag, flags)}",
        )
        for words in split_lines(scenario, text)
        if words.peek() == "hunts"
        for flag in words.words[1:]
        if flag not in flags
    ]
