"""The built table on disk: `table.json`, read again by prove, compare and sign."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from tools.failsafe.folding import Line, few, fold
from tools.failsafe.matching import Situation
from tools.failsafe.rows import Row, Status
from xlate_core.errors import InputError

FILE, EVIDENCE_FILE = "table.json", "evidence.json"
FORMAT = 1
BOARDS = ("reference", "native", "emulated")
COLUMNS = tuple(field.name for field in fields(Row))


@dataclass(frozen=True, slots=True)
class Stored:
    """A built table: what it was built of, and its rows. Digests are SHA-256 in hex."""

    pairing: str
    pairing_digest: str
    required_digest: str
    rows: list[Row]
    lines: list[Line]

    def groups(self) -> dict[str, list[Line]]:
        """Return the lines of every output, which is what a person signs at a time."""
        found: dict[str, list[Line]] = {}
        for line in self.lines:
            found.setdefault(line.output, []).append(line)
        return found


def to_rows(rows: Sequence[Row]) -> dict[str, Any]:
    """Return rows as columns and values; situations are told once."""
    situations = list(dict.fromkeys(row.situation for row in rows))
    place = {situation: number for number, situation in enumerate(situations)}
    values = []
    for row in rows:
        told: list[Any] = [getattr(row, name) for name in COLUMNS]
        told[COLUMNS.index("situation")] = place[row.situation]
        told[COLUMNS.index("status")] = row.status.value
        values.append(told)
    return {
        "columns": list(COLUMNS),
        "situations": [list(map(list, one)) for one in situations],
        "values": values,
    }


def from_rows(told: dict[str, Any]) -> list[Row]:
    """Return the rows again."""
    situations: list[Situation] = [
        tuple((axis, choice) for axis, choice in one) for one in told["situations"]
    ]
    rows = []
    for values in told["values"]:
        found = dict(zip(told["columns"], values, strict=True))
        found["situation"] = situations[found["situation"]]
        found["status"] = Status(found["status"])
        rows.append(Row(**found))
    return rows


def read(folder: Path) -> Stored:
    """Read a built table; raises InputError when there is none, or one of another format."""
    path = folder / FILE
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        if told["format"] != FORMAT:
            raise InputError(f"{path.as_posix()}: format {told['format']}, expected {FORMAT}")
        rows = from_rows(told["rows"])
        return Stored(
            told["pairing"], told["pairing_digest"], told["required_digest"], rows, fold(rows)
        )
    except FileNotFoundError:
        raise InputError(
            f"{path.as_posix()}: found no built table, expected what `xlate failsafe build` writes"
        ) from None
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path.as_posix()}: cannot be read ({error}); build it again") from None


def evidence_of(folder: Path) -> list[dict[str, Any]]:
    """Return the proofs of a built table, none when it was not proven."""
    path = folder / EVIDENCE_FILE
    if not path.is_file():
        return []
    found: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["proofs"]
    return found


def evidence_words(proofs: Sequence[dict[str, Any]]) -> dict[str, str]:
    """Return for each line its vectors, what boards said, which broken copies are seen."""
    of_line: dict[str, list[dict[str, Any]]] = {}
    for proof in proofs:
        for line in proof["lines"]:
            of_line.setdefault(line, []).append(proof)
    return {line: _words(found) for line, found in of_line.items()}


def _words(proofs: Sequence[dict[str, Any]]) -> str:
    """Return what the vectors of one line say: the first that is no pass, or pass."""
    names = [
        f"{proof['vector'].split('.')[0].removeprefix('failsafe_')} {proof['digest'][:8]}"
        for proof in proofs
    ]
    boards = dict.fromkeys(BOARDS, "not run")
    for proof in reversed(proofs):
        boards |= {one: said for one, said in proof["boards"].items() if said == "pass"}
    for proof in reversed(proofs):
        boards |= {one: said for one, said in proof["boards"].items() if said != "pass"}
    if not set(boards) - set(BOARDS):
        boards["real"] = "not run"
    said = ", ".join(f"{board} {verdict}" for board, verdict in boards.items())
    differs = list(dict.fromkeys(output for proof in proofs for output in proof["differs"]))
    wrong = f"; differs: {', '.join(differs)}" if differs else ""
    return f"{few(names, 1)}: {said}{wrong}; {_broken_words(broken_counts(proofs))}"


def _broken_words(counts: dict[str, int]) -> str:
    if not counts:
        return "broken copies not run"
    seen = [words for words, count in counts.items() if count]
    which = f": {few(seen, 2)}" if seen else ""
    return f"sees {len(seen)} of {len(counts)} broken copies{which}"


def broken_counts(proofs: Sequence[dict[str, Any]]) -> dict[str, int]:
    """Return for every broken copy that was tried how many vectors see it."""
    found: dict[str, int] = {}
    for proof in proofs:
        for words, caught in proof["broken"].items():
            found[words] = found.get(words, 0) + caught
    return found


def line_facts(line: Line) -> dict[str, Any]:
    """Return a line as plain data, without the ids of its rows."""
    told = asdict(line)
    del told["ids"]
    told["status"] = line.status.value
    return {"digest": line.digest, **json.loads(json.dumps(told))}


def group_digest(stored: Stored, lines: Sequence[Line], proofs: Sequence[dict[str, Any]]) -> str:
    """Return the hash a signature stands on: pairing, requirements, lines and their vectors."""
    parts = [stored.pairing_digest, stored.required_digest]
    digests = sorted(line.digest for line in lines)
    parts += digests
    parts += sorted(proof["digest"] for proof in proofs if set(proof["lines"]) & set(digests))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()
