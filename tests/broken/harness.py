"""Break one line in a copy of the reference and see whether a vector notices.

The copy stands in a temporary directory that comes first on the path of a process of its own; the
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
from functools import cache
from pathlib import Path

from tests.broken.served import ERRORS, OUTPUT, TIMEOUT_S

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "xlate_core"


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


def copy_engine(folder: Path, mistake: Mistake | None = None) -> Path:
    """Copy the reference into the folder, with the mistake in it if there is one.

    Compiled modules come along: they hold by time and size of their source, so only the broken
    module is compiled anew.
    """
    shutil.copytree(ROOT / PACKAGE, folder / PACKAGE)
    if mistake is not None:
        break_copy(folder, mistake)
    return folder


def break_copy(folder: Path, mistake: Mistake) -> None:
    """Put the mistake into the copy in the folder."""
    path = folder / PACKAGE / mistake.file
    text = broken_text(mistake, path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8", newline="\n")


def mend_copy(folder: Path, mistake: Mistake) -> None:
    """Take the mistake out of the copy again, time of the file included."""
    shutil.copy2(ROOT / PACKAGE / mistake.file, folder / PACKAGE / mistake.file)


def run_vectors(folder: Path, vectors: Sequence[Path]) -> dict[str, str]:
    """Run vectors on the engine copied into the folder; return the verdict of each by its path.

    A crash is the verdict `crash: ` and the last line of the error.
    """
    code, output, errors = (served if hasattr(os, "fork") else fresh)(folder, vectors)
    if code != 0:
        last = (errors.strip().splitlines() or [f"no message, exit code {code}"])[-1]
        return {str(vector): f"crash: {last}" for vector in vectors}
    return {str(path): str(verdict) for path, verdict in json.loads(output).items()}


def fresh(folder: Path, vectors: Sequence[Path]) -> tuple[int, str, str]:
    """Run vectors in a Python started for it; return exit code, output and errors."""
    environment = dict(
        os.environ,
        PYTHONPATH=os.pathsep.join((str(folder), str(ROOT))),
        PYTHONDONTWRITEBYTECODE="1",
    )
    done = subprocess.run(
        [sys.executable, "-m", "tests.broken.run_vectors", *map(str, vectors)],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=TIMEOUT_S,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


def served(folder: Path, vectors: Sequence[Path]) -> tuple[int, str, str]:
    """Run vectors in a process forked for it; return exit code, output and errors."""
    server = _server()
    assert server.stdin is not None
    assert server.stdout is not None
    order = {"folder": str(folder), "vectors": [str(vector) for vector in vectors]}
    server.stdin.write(json.dumps(order) + "\n")
    server.stdin.flush()
    answer = server.stdout.readline()
    assert answer, "the server of broken copies has ended"
    output, errors = (
        (folder / name).read_text(encoding="utf-8", errors="replace") for name in (OUTPUT, ERRORS)
    )
    return int(answer), output, errors


@cache
def _server() -> subprocess.Popen[str]:
    """The server of this process; it ends with it, when its input does."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.broken.served"],
        cwd=ROOT,
        env=dict(os.environ, PYTHONPATH=str(ROOT)),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )


def vector_file(name: str, folder: Path) -> Path:
    """The file of a vector named pairing/id; raises FileNotFoundError with a sentence."""
    for suffix in (".vector", ".vector.gz"):
        path = folder / f"{name}{suffix}"
        if path.is_file():
            return path
    raise FileNotFoundError(f"no vector `{name}` in {folder}")
