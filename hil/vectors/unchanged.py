"""Which scenarios need no new look: all that went into them, and came out of them, is as it was.

What went in is the scenario's text, every file of its pairing, and the source of the reference and
of the generator; what came out is the stored vector. A digest over all of it is kept once the
reference agreed with every expectation. Losing the list costs time only.
"""

import hashlib
import re
import sys
from collections.abc import Iterable
from pathlib import Path

from hil.cache import cache_folder
from hil.vectors.files import write_whole
from hil.vectors.vector import SUFFIXES

ROOT = Path(__file__).resolve().parents[2]
SOURCES = ("xlate_core", "hil/vectors", "hil/boards/reference.py")
PAIRING_LINE = re.compile(r"^pairing\s+([^\s+]+)(\S*)", re.MULTILINE)


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
        self._source = _digest_of(*(ROOT / name for name in SOURCES))
        self._pairings: dict[str, bytes] = {}

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
            named = PAIRING_LINE.search(text.decode("utf-8", "replace"))
            if named is None:
                return None
            base, options = named.groups()
            folder = self.vectors / (base + options)
            stored = [folder / f"{scenario.stem}{suffix}" for suffix in SUFFIXES]
            (vector,) = [path.read_bytes() for path in stored if path.is_file()]
            if base not in self._pairings:
                self._pairings[base] = _digest_of(self.pairings / base)
        except (OSError, ValueError):
            return None
        found = hashlib.sha256(self._source + self._pairings[base])
        for part in (scenario.name.encode(), text, vector):
            found.update(len(part).to_bytes(8, "little") + part)
        return found.hexdigest()


def _digest_of(*places: Path) -> bytes:
    """Return a digest over files and all files inside folders, names included."""
    found = hashlib.sha256(sys.version.encode())
    for place in places:
        for path in _files(place):
            content = path.read_bytes()
            name = path.relative_to(place.parent).as_posix().encode()
            found.update(name + len(content).to_bytes(8, "little") + content)
    return found.digest()


def _files(place: Path) -> Iterable[Path]:
    if place.is_file():
        return [place]
    return sorted(
        path for path in place.rglob("*") if path.is_file() and "__pycache__" not in path.parts
    )
