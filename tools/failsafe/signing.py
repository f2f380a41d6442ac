"""Signatures of a person under the lines of an output, and the difference to what was signed.

`signatures.json` lies beside required.toml. A signature holds the lines as they were and a hash
over pairing, requirements, lines and vectors; it lapses when any of these changes.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from hil.vectors.files import write_whole
from tools.failsafe.folding import Line
from tools.failsafe.stored import Stored, group_digest, line_facts
from xlate_core.errors import InputError

FILE = "signatures.json"


@dataclass(frozen=True, slots=True)
class Signature:
    """Who stands for the lines of an output. `date` is ISO 8601."""

    output: str
    name: str
    role: str
    independence: str
    reason: str
    date: str
    digest: str
    lines: list[dict[str, Any]]


def read(path: Path) -> dict[str, Signature]:
    """Return the signatures by output; none when nobody has signed."""
    if not path.is_file():
        return {}
    try:
        told = json.loads(path.read_text(encoding="utf-8"))["signatures"]
        return {one["output"]: Signature(**one) for one in told}
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path.as_posix()}: cannot be read ({error})") from None


def write(path: Path, signatures: dict[str, Signature]) -> None:
    """Write all signatures, whole or not at all."""
    told = {"format": 1, "signatures": [asdict(one) for one in signatures.values()]}
    write_whole(path, (json.dumps(told, indent=1, ensure_ascii=False) + "\n").encode("utf-8"))


def valid(
    stored: Stored, signatures: dict[str, Signature], proofs: Sequence[dict[str, Any]]
) -> dict[str, bool]:
    """Return for each output of the table whether its signature stands; absent: unsigned."""
    return {
        output: group_digest(stored, lines, proofs) == signatures[output].digest
        for output, lines in stored.groups().items()
        if output in signatures
    }


def words(
    stored: Stored, signatures: dict[str, Signature], proofs: Sequence[dict[str, Any]]
) -> str:
    """Return how far the table is signed, in words."""
    standing = valid(stored, signatures, proofs)
    if not standing:
        return "Unsigned"
    lapsed = [output for output, stands in standing.items() if not stands]
    signed = len(standing) - len(lapsed)
    tail = f"; lapsed: {', '.join(lapsed)}" if lapsed else ""
    return f"Signed for {signed} of {len(stored.groups())} outputs{tail}"


def differences(
    old: Sequence[dict[str, Any]], new: Sequence[Line]
) -> Iterator[tuple[str, dict[str, Any], list[str]]]:
    """Yield ("new", "gone" or "changed", the line, what changed), line by line.

    A line is found again by what it is about: requirement, required state, status and faults.
    """
    told = [line_facts(line) for line in new]
    before = {one["digest"] for one in old}
    after = {one["digest"] for one in told}
    gone = [one for one in old if one["digest"] not in after]
    for line in (one for one in told if one["digest"] not in before):
        former = next((one for one in gone if _about(one) == _about(line)), None)
        if former is None:
            yield "new", line, []
            continue
        gone.remove(former)
        changed = [
            f"{key}: {former[key]} -> {line[key]}"
            for key in line
            if key != "digest" and line[key] != former[key]
        ]
        yield "changed", line, changed
    for one in gone:
        yield "gone", one, []


def _about(line: dict[str, Any]) -> tuple[object, ...]:
    return (line["output"], line["requirement"], line["required"], tuple(line["faults"][:1]))
