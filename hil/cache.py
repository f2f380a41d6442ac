"""Where things are kept that can be made again."""

import os
from pathlib import Path


def cache_folder() -> Path:
    """Return the folder of this user's cache; it may not exist yet."""
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return Path(base) / "xlate" if base else Path.home() / ".cache" / "xlate"
