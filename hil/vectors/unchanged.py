"""Which scenarios need no new look: all that went into them, and came out of them, is as it was.

What went in is the scenario's text, every file of its pairing, and the source of the reference and
of the generator; what came out is the stored vector. A digest over all of it is kept once the
reference agreed with every expectation. Losing the list costs time only.
"""

import hashlib
import sys
from pathlib import Path

from hil.cache import cache_folder, digest_of
from hil.vectors.errors import ScenarioError
from hil.vectors.files import write_whole
from hil.vectors.reading import pairing_name
from hil.vectors.vector import SUFFIXES
from xlate_core.pairing.options import split

ROOT = Path(__file__).resolve().parents[2]
SOURCES = ("xlate_core", "hil/vectors", "hil/boards/reference.py")


class Unchanged:
    """The digests of what was found right in one folder of vectors."""

    def __init__(self, pairings: Path, vectors: Path) -> None:
        """Read the list kept for these two folders; an unreadable one counts as empty."""
        self.pairings, self.vectors = pairings.resolve(), vectors.resolve()
        where = hashlib.sha256(f"{self.pairings}|{self.vectors}".encode()).hexdigest()[:20]
        self._file = cache_folder() / f"unchanged_{where}"
        try:
            self._kept = set(self._file.read_text(encoding="ascii").split())
        except (OSError, UnicodeDecodeError):
            self._kept = set()
        self._right: set[str] = set()
        self._source = sys.version.encode() + digest_of(*(ROOT / name for name in SOURCES))
        self._pairings: dict[Path, bytes] = {}

    def holds(self, scenario: Path) -> bool:
        """Return whether the scenario was found right with all as it is now."""
        digest = self._digest(scenario)
        known = digest is not None and digest in self._kept
        if known and digest is not None:
            self._right.add(digest)
        return known

    def found_right(self, scenario: Path) -> None:
        """Take note of a scenario whose vector has just been written."""
        digest = self._digest(scenario)
        if digest is not None:
            self._right.add(digest)

    def keep(self, whole: bool) -> None:
        """Keep what was right this time and, unless the `whole` corpus was looked at, before it.

        Without a place for it nothing is kept.
        """
        right = self._right if whole else self._right | self._kept
        try:
            write_whole(self._file, "\n".join(sorted(right)).encode("ascii"))
        except OSError:
            return

    def _digest(self, scenario: Path) -> str | None:
        """Return the digest over what goes in and came out; None when something is not there."""
        try:
            text = scenario.read_bytes()
            name = pairing_name(scenario, text.decode("utf-8"))
            base, _ = split(self.pairings / name)
            stored = [self.vectors / name / f"{scenario.stem}{suffix}" for suffix in SUFFIXES]
            (vector,) = [path.read_bytes() for path in stored if path.is_file()]
            if base not in self._pairings:
                self._pairings[base] = digest_of(base)
        except (OSError, ValueError, ScenarioError):
            return None
        found = hashlib.sha256(self._source + self._pairings[base])
        for part in (scenario.name.encode(), text, vector):
            found.update(len(part).to_bytes(8, "little") + part)
        return found.hexdigest()
