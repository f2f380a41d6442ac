"""The journal of a run: one line a result, written at once, never changed.

Everything else, progress, JSON, JUnit, HTML and `--resume`, derives from it. The first line says
what was run with what; a torn last line, as after a power cut, is left out when reading.
"""

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from hil.runner import Result
from hil.verdicts import BENCH, Verdict
from xlate_core.errors import InputError, reason_of

FORMAT = 1
NAME = "journal.jsonl"


def content_of(path: Path) -> str:
    """Return a digest of a vector file's content."""
    return hashlib.sha256(path.read_bytes()).hexdigest()[:16]


class Journal:
    """An open journal."""

    def __init__(self, folder: Path, boards: Iterable[str], total: int) -> None:
        """Begin or carry on the journal of a run's folder."""
        self.path = folder / NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
            fresh = not self.path.exists()
            self._stream: TextIO = self.path.open("a", encoding="utf-8", newline="\n")
        except OSError as error:
            raise InputError(f"{self.path}: cannot be written ({reason_of(error)})") from None
        kind = "run" if fresh else "resumed"
        self._write({"kind": kind, "format": FORMAT, "boards": list(boards), "vectors": total})

    def add(self, result: Result) -> None:
        """Add a result."""
        self._write({"kind": "result", "content": content_of(result.path), **plain(result)})

    def close(self) -> None:
        """Close the file."""
        self._stream.close()

    def _write(self, entry: dict[str, Any]) -> None:
        self._stream.write(json.dumps(entry, ensure_ascii=False) + "\n")
        self._stream.flush()


def plain(result: Result) -> dict[str, Any]:
    """Return a result as plain data."""
    return {
        "id": result.identity,
        "path": result.path.as_posix(),
        "pairing": result.pairing,
        "title": result.title,
        "verdict": result.verdict.value,
        "ticks": result.ticks,
        "frames_in": result.frames_in,
        "frames_out": result.frames_out,
        "checkpoints": result.checkpoints,
        "duration_ms": result.duration_ms,
        "explanation": list(result.explanation),
        "board": result.board,
        "identity": result.board_identity,
        "attempts": result.attempts,
        "picture": result.picture,
    }


@dataclass(frozen=True, slots=True)
class Past:
    """A result out of a journal, with the content its vector had."""

    result: Result
    content: str


def read(path: Path) -> list[Past]:
    """Return the results of a journal, given as file or folder, the newest of each vector."""
    file = path / NAME if path.is_dir() else path
    try:
        lines = file.read_text(encoding="utf-8").split("\n")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{file}: no journal of a run ({reason_of(error)})") from None
    found: dict[tuple[str, str], Past] = {}
    for number, line in enumerate(lines[:-1], start=1):
        try:
            entry = json.loads(line)
            if number == 1 and (entry["kind"] != "run" or entry["format"] != FORMAT):
                raise ValueError(entry["kind"])
            if entry["kind"] == "result":
                past = Past(result_of(entry), entry["content"])
                found[past.result.board, past.result.path.as_posix()] = past
        except (ValueError, KeyError, TypeError) as error:
            raise InputError(
                f"{file}:{number}: no line of a journal of format {FORMAT} ({error})"
            ) from None
    if not lines[:-1]:
        raise InputError(f"{file}: an empty file; expected the journal of a run")
    return list(found.values())


def result_of(entry: dict[str, Any]) -> Result:
    """Return the result of a journal's line."""
    return Result(
        identity=entry["id"],
        path=Path(entry["path"]),
        pairing=entry["pairing"],
        title=entry["title"],
        verdict=Verdict(entry["verdict"]),
        ticks=entry["ticks"],
        frames_in=entry["frames_in"],
        frames_out=entry["frames_out"],
        checkpoints=entry["checkpoints"],
        duration_ms=entry["duration_ms"],
        explanation=tuple(entry["explanation"]),
        board=entry["board"],
        board_identity=entry["identity"],
        attempts=entry["attempts"],
        picture=entry["picture"],
    )


def still_counts(past: Past) -> bool:
    """Return whether a past result need not be run again: a verdict on an unchanged vector."""
    if past.result.verdict in BENCH or past.result.verdict is Verdict.NOT_RUN:
        return False
    path = past.result.path
    return path.is_file() and content_of(path) == past.content
