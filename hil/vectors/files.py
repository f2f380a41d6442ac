"""Writing files whole or not at all."""

import contextlib
import os
import tempfile
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write to a temporary file in the same folder, then put it in place of the old one.

    An OSError names the file that was to be written, also when the disk is full.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        _write(path, content)
    except OSError as error:
        error.filename, error.filename2 = str(path), None
        raise


def _write(path: Path, content: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        temporary.chmod(0o644)  # mkstemp leaves it to its owner alone
        os.replace(temporary, path)  # noqa: PTH105
    except BaseException:
        with contextlib.suppress(FileNotFoundError):
            temporary.unlink()
        raise
