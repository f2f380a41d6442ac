"""Where things are kept that can be made again."""

import hashlib
import os
from collections.abc import Iterable
from pathlib import Path


def cache_folder() -> Path:
    """Return the folder of this user's cache; it may not exist yet."""
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return Path(base) / "xlate" if base else Path.home() / ".cache" / "xlate"


def digest_of(*places: Path) -> bytes:
    """Return SHA-256 over files and all files inside folders, names included."""
    found = hashlib.sha256()
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
