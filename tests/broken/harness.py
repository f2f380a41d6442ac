"""Break one line in a copy of the reference and see whether a vector notices.

The copy stands in a temporary directory that comes first on the path of a fresh Python process; the
vector runs there through the one runner of all boards. Only a mismatch is a catch: a crash, an
error of the bench or a vector that does not fit shows that the broken copy did not run, not that
the vector is sharp.
"""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "xlate_core"
TIMEOUT_S = 300


@dataclass(frozen=True, slots=True)
class Mistake:
    """A one-line mistake: `old` stands exactly once in the file; `caught_by` is pairing/vector."""

    name: str
    file: str
    old: str
    new: str
    caught_by: str


class StaleMistakeError(Exception):
    """The engine changed and the mistake no longer fits it: its text has to be brought up to date.

    Never a reason to skip it.
    """


def broken_text(mistake: Mistake, text: str) -> str:
    """The file's text with the mistake in it; raises StaleMistakeError unless it fits once."""
    count = text.count(mistake.old)
    if count != 1:
        raise StaleMistakeError(
            f"mistake `{mistake.name}`: found {count} times in {PACKAGE}/{mistake.file}, expected "
            f"once: {mistake.old!r}"
        )
    if mistake.old == mistake.new:
        raise StaleMistakeError(f"mistake `{mistake.name}` changes nothing")
    return text.replace(mistake.old, mistake.new)


def copy_engine(folder: Path, mistake: Mistake | None) -> Path:
    """Copy the reference into the folder, with the mistake in it if there is one.

    Compiled modules come along: they hold by time and size of their source, so only the broken
    module is compiled anew.
    """
    target = folder / PACKAGE
    shutil.copytree(ROOT / PACKAGE, target)
    if mistake is not None:
        path = target / mistake.file
        text = path.read_text(encoding="utf-8")
        path.write_text(broken_text(mistake, text), encoding="utf-8", newline="\n")
    return folder


def run_vectors(folder: Path, vectors: Sequence[Path]) -> dict[str, str]:
    """Run vectors on the engine copied into the folder; return the verdict of each by its path.

    A crash is the verdict `crash: ` and the last line of the error.
    """
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join((str(folder), str(ROOT))))
    command = [sys.executable, "-m", "tests.broken.run_vectors", *map(str, vectors)]
    done = subprocess.run(
        command,
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=TIMEOUT_S,
        check=False,
    )
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["no message"])[-1]
        return {str(vector): f"crash: {last}" for vector in vectors}
    return {str(path): str(verdict) for path, verdict in json.loads(done.stdout).items()}


def vector_file(name: str, folder: Path) -> Path:
    """The file of a vector named pairing/id; raises FileNotFoundError with a sentence."""
    for suffix in (".vector", ".vector.gz"):
        path = folder / f"{name}{suffix}"
        if path.is_file():
            return path
    raise FileNotFoundError(f"no vector `{name}` in {folder}")
