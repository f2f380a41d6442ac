"""What a person requires: `fixtures/tables/PAIRING/required.toml`, checked before anything runs.

The manual of the file is `tools/failsafe/REQUIRED.md`. Every name is held against the pairing; all
problems come in one run, with line and nearest valid name.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from tools.failsafe.checking import Check
from tools.failsafe.matching import Situation
from tools.failsafe.names import TableNames
from tools.failsafe.schema import RequiredFile, Setting
from xlate_core.errors import InputError
from xlate_core.pairing.problems import PairingError
from xlate_core.pairing.reading import collect_error, parse

FILE = "required.toml"
PHASE_STEP, PHASES = 7, 100  # ticks


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
    Check(tables, names, collector).run()
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
