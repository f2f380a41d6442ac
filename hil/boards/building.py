"""The cache of built boards: a program is built when it is first needed.

It is kept under a name of what it was made of, so a change of the sources or of the pairing builds
it anew.
"""

import os
import shutil
import tempfile
from pathlib import Path

from hil.cache import cache_folder
from hil.firmware import programs
from xlate_core.pairing.model import Pairing


def built(pairing: Pairing, board: str, suffix: str = "") -> Path:
    """Return the program of a pairing for a kind of board, built unless it is in the cache.

    Raises BoardError without a compiler for the board, or with what it said.
    """
    name = f"{board}_{pairing.name}_{programs.ingredients(pairing, board)}{suffix}"
    path = cache_folder() / name
    if path.is_file():
        return path
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError:
        path = Path(tempfile.mkdtemp(prefix=f"xlate-{board}-")) / name
    with tempfile.TemporaryDirectory(prefix="xlate-build-") as folder:
        made = programs.build(pairing, board, Path(folder))
        # Renamed into place, so that another process never starts half a file.
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{name}.")
        os.close(handle)
        shutil.copyfile(made.path, temporary)
        Path(temporary).chmod(0o755)
        Path(temporary).replace(path)
    return path
