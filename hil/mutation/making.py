"""Mutants of the core's C files, made by the tool `universalmutator` (PyPI, extra `mutation`)."""

import importlib.util
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from random import Random

from hil.boards.interface import BoardError
from hil.firmware.building import CORE

NO_TOOL = 'no mutation tool; from PyPI: pip install "xlate-bridge[mutation]"'


@dataclass(frozen=True, slots=True)
class Mutant:
    """One changed line of one file. `file` is relative to the core's folder; lines count from 1."""

    file: str
    line: int
    right: str
    wrong: str
    text: str


def make(seed: int, core: Path = CORE) -> list[Mutant]:
    """Return every mutant the tool makes of every C file, in an order that the seed decides.

    Files take turns, so that any beginning of the list is spread over the whole core. Lines of
    comments and of `#include` are left out: they hold no code.
    """
    if importlib.util.find_spec("universalmutator") is None:
        raise BoardError(NO_TOOL)
    piles = []
    for source in sorted(core.rglob("*.c")):
        pile = mutants_of(source, core)
        # each file by its own name: one more file leaves the order in the others as it was
        Random(f"{seed} {source.relative_to(core).as_posix()}").shuffle(pile)
        piles.append(pile)
    order = []
    while any(piles):
        for pile in piles:
            if pile:
                order.append(pile.pop())
    return order


def mutants_of(source: Path, core: Path) -> list[Mutant]:
    """Return the mutants of one file."""
    original = source.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-c", "from universalmutator.genmutants import main; main()"]
        command += [str(source), "c", "--noCheck", "--mutantDir", folder]
        done = subprocess.run(command, capture_output=True, cwd=folder, check=False)
        paths = sorted(
            Path(folder).glob(f"{source.stem}.mutant.*.c"),
            key=lambda path: int(path.name.split(".")[-2]),
        )
        if done.returncode != 0 or not paths:
            raise BoardError(f"the mutation tool makes nothing of {source.name}")
        texts = [path.read_text(encoding="utf-8") for path in paths]
    found = []
    for text in texts:
        change = changed_line(original, text)
        if change is not None and holds_code(original, change[0]):
            line, right, wrong = change
            file = source.relative_to(core).as_posix()
            found.append(Mutant(file, line, right.strip(), wrong.strip(), text))
    return found


def changed_line(original: str, text: str) -> tuple[int, str, str] | None:
    """Return number, former and new text of the first line that differs."""
    for number, (right, wrong) in enumerate(
        zip(original.splitlines(), text.splitlines(), strict=False)
    ):
        if right != wrong:
            return number + 1, right, wrong
    return None


def holds_code(original: str, line: int) -> bool:
    """Return whether a line holds code: no comment, no preprocessor line, not empty."""
    inside = False
    for number, text in enumerate(original.splitlines()):
        stripped = text.strip()
        starts = stripped.startswith("/*")
        inside = inside or starts
        if number + 1 == line:
            return bool(stripped) and not inside and not stripped.startswith("#")
        if inside and "*/" in text:
            inside = False
    return False
