"""A scenario file to a Scenario: the header first, then statement by statement."""

import difflib
import re
from collections.abc import Callable
from pathlib import Path

from hil.vectors.errors import ScenarioError, at_line, nearest
from hil.vectors.expect_statements import read_expect
from hil.vectors.names import Names
from hil.vectors.scenario import Scenario, ScenarioHeader
from hil.vectors.stimulus_statements import STATEMENTS, read_send
from hil.vectors.vector import RandomTraffic
from hil.vectors.words import Words, split_lines
from xlate_core.errors import reason_of

HEADER = ("scenario", "title", "pairing", "purpose", "hunts", "lasts", "checkpoints", "random")
VERBS = (*STATEMENTS, "send", "expect", "at", "from")
IDENTITY = re.compile(r"[A-Za-z][A-Za-z0-9_]*\Z")
STYLES = ("driving", "disturbed", "hostile")
MAX_TICKS = 1 << 31
DEFAULT_CHECKPOINT_MS = 1000


def read_text(path: Path) -> str:
    """Return the text of a scenario file."""
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        raise ScenarioError(
            at_line(path, line, f"{reason_of(error)}; expected a scenario file")
        ) from None
    except OSError as error:
        raise ScenarioError(f"{path}: {reason_of(error)}; expected a scenario file") from None


def pairing_name(path: Path, text: str) -> str:
    """Return the name in the `pairing` line: needed before the rest can be read."""
    for words in split_lines(path, text):
        if words.peek() == "pairing":
            words.forms = "`pairing NAME`"
            words.keyword("pairing")
            name = words.word("the name of the pairing")
            words.end()
            return name
    raise ScenarioError(f"{path}: no line `pairing NAME` found")


def read_scenario(path: Path, text: str, names: Names) -> Scenario:
    """Read a scenario; raises ScenarioError with one sentence for each mistake."""
    header, statements = header_and_rest(path, split_lines(path, text))
    scenario = Scenario(read_header(path, header, names.pairing.name, names.tick_ms))
    mistakes = []
    for words in statements:
        try:
            read_statement(words, names, scenario)
        except ScenarioError as error:
            mistakes.append(str(error))
    if mistakes:
        raise ScenarioError("\n".join(mistakes))
    # The order on one tick is the written one; sorting keeps it.
    scenario.actions.sort(key=lambda action: action.tick)
    return scenario


def header_alone(path: Path, text: str) -> ScenarioHeader:
    """Read the header as one of ticks of 1 ms, before the pairing is known that has others."""
    name = pairing_name(path, text)
    header, _ = header_and_rest(path, split_lines(path, text))
    return read_header(path, header, name, 1)


def header_and_rest(path: Path, lines: list[Words]) -> tuple[list[Words], list[Words]]:
    """Return the lines of the header and those behind it."""
    count = 0
    while count < len(lines) and lines[count].words[0] in HEADER:
        count += 1
    if count < len(lines):
        word = lines[count].words[0]
        close = difflib.get_close_matches(word, [*HEADER, *VERBS], n=1, cutoff=0.5)
        if word not in VERBS and close and close[0] in HEADER:
            expected = f"expected one of {', '.join(HEADER)}{nearest(word, HEADER)}"
            line = lines[count].line
            raise ScenarioError(at_line(path, line, f"`{word}` begins no header line; {expected}"))
    return lines[:count], lines[count:]


def read_statement(words: Words, names: Names, scenario: Scenario) -> None:
    """Read one statement into the scenario."""
    first = words.peek()
    if first in HEADER:
        raise words.error(f"`{first}` belongs to the header, before every other statement")
    last_tick = scenario.header.ticks - 1
    if first == "expect":
        scenario.expectations.append(read_expect(words, names, last_tick))
        return
    if scenario.header.random is not None:
        raise words.error("a random scenario has no stimulus of its own, only `expect` lines")
    if first == "send":
        read_send(words, names, scenario.sendings)
        return
    start, scheduled = 0, False
    if first in {"at", "from"}:
        words.forms = "`at TIME STATEMENT` or `from TIME STATEMENT`"
        words.next += 1
        start, scheduled = words.ticks("the time", names.tick_ms), True
        check_inside(words, start, last_tick, names.tick_ms)
    verb = words.peek()
    read: Callable[..., None] | None = STATEMENTS.get(verb)
    if read is None:
        forms = ", ".join(sorted(VERBS))
        raise ScenarioError(
            at_line(
                words.path,
                words.line,
                f"`{verb}` begins no statement{nearest(verb, VERBS)}; expected one of {forms}",
            )
        )
    read(words, names, start, scenario)
    if scheduled and scenario.actions:
        check_inside(words, scenario.actions[-1].tick, last_tick, names.tick_ms)


def check_inside(words: Words, tick: int, last_tick: int, tick_ms: int) -> None:
    """Raise when a time lies at or behind the end of the scenario."""
    if tick > last_tick:
        raise words.error(
            f"{tick * tick_ms} ms is behind the end; "
            f"the scenario lasts {(last_tick + 1) * tick_ms} ms"
        )


def read_header(path: Path, lines: list[Words], pairing: str, tick_ms: int) -> ScenarioHeader:
    """Read the header lines; each but `purpose` stands once, most must stand."""
    found: dict[str, Words] = {}
    purpose: list[str] = []
    for words in lines:
        key = words.word("a header word")
        if key == "purpose":
            purpose.extend(words.words[1:])
        elif key in found:
            raise words.error(f"`{key}` stands twice, first in line {found[key].line}")
        found.setdefault(key, words)
    for key in ("scenario", "title", "pairing", "purpose", "hunts", "lasts"):
        if key not in found:
            line = lines[-1].line if lines else 1
            raise ScenarioError(at_line(path, line, f"the header has no line `{key} ...`"))
    identity = read_identity(path, found["scenario"])
    for key, what in (("title", "TEXT"), ("purpose", "TEXT"), ("hunts", "FLAG ...")):
        if len(found[key].words) < 2:
            raise found[key].error(f"`{key}` says nothing; expected `{key} {what}`")
    lasts = found["lasts"]
    lasts.forms = "`lasts TIME`"
    ticks = lasts.ticks("the duration", tick_ms)
    lasts.end()
    if not 0 < ticks <= MAX_TICKS:
        raise lasts.error("the duration must be longer than 0")
    return ScenarioHeader(
        identity=identity,
        title=" ".join(found["title"].words[1:]),
        pairing=pairing,
        purpose=" ".join(purpose),
        hunts=tuple(found["hunts"].words[1:]),
        ticks=ticks,
        checkpoint_ticks=read_checkpoints(found.get("checkpoints"), tick_ms),
        random=read_random(found.get("random")),
    )


def read_identity(path: Path, words: Words) -> str:
    """Read `scenario ID`; the id is the file's name."""
    words.forms = "`scenario ID`"
    identity = words.word("the id")
    words.end()
    if not IDENTITY.match(identity):
        raise words.error(f"`{identity}` is no id of letters, digits and `_`")
    if identity != path.stem:
        raise words.error(f"id `{identity}` found; the file's name says `{path.stem}`")
    return identity


def read_checkpoints(words: Words | None, tick_ms: int) -> int:
    """Read `checkpoints every TIME`; the default is 1 s."""
    if words is None:
        return -(-DEFAULT_CHECKPOINT_MS // tick_ms)
    words.forms = "`checkpoints every TIME`"
    words.keyword("every")
    ticks = words.ticks("the distance", tick_ms)
    words.end()
    if ticks < 1:
        raise words.error("the distance must be longer than 0")
    return ticks


def read_random(words: Words | None) -> RandomTraffic | None:
    """Read `random seed N style STYLE`."""
    if words is None:
        return None
    words.forms = "`random seed N style driving|disturbed|hostile`"
    words.keyword("seed")
    seed = words.integer("the seed", 0, (1 << 32) - 1)
    words.keyword("style")
    style = words.choice("style", STYLES)
    words.end()
    return RandomTraffic(seed, style)
