"""Builds broken cores quickly and lets the corpus judge them."""

import shutil
import subprocess
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from hil.boards.interface import BoardError
from hil.firmware import tables
from hil.firmware.building import CORE, needed_sources
from hil.firmware.toolchains import LANGUAGE, NATIVE, find
from hil.mutation.stream import write_stream
from hil.runner import Pairings, is_vector
from xlate_core.pairing.model import Pairing

REPLAY = Path(__file__).with_name("replay.c")
OPTIMISED = ("-O2", "-w")
RUN_S = 20.0


class Fate(StrEnum):
    """What became of a broken core."""

    CAUGHT = "caught"
    SURVIVED = "survived"
    HUNG = "hung"
    CRASHED = "crashed"
    NOT_BUILT = "not built"
    EQUAL = "equal"


@dataclass(slots=True)
class Range:
    """One pairing with its objects, its stimulus and what the unbroken core does with it."""

    name: str
    folder: Path
    objects: dict[str, Path]
    flags: tuple[str, ...] = OPTIMISED

    def compile(self, source: Path, target: Path, core: Path = CORE) -> bool:
        """Compile one file; return whether the compiler took it. NoCompilerError without one."""
        includes = [f"-I{core}", f"-I{core / 'functions'}", f"-I{self.folder}"]
        command = [*find(NATIVE).command, *LANGUAGE, *self.flags, *includes, "-c", str(source)]
        done = subprocess.run([*command, "-o", str(target)], capture_output=True, check=False)
        return done.returncode == 0

    def link(self, target: Path, instead: dict[str, Path], *more: str) -> bool:
        """Link a program, with other objects for some files; return whether that worked."""
        objects = {**self.objects, **instead}
        command = [*find(NATIVE).command, *more, *map(str, objects.values()), "-o", str(target)]
        return subprocess.run(command, capture_output=True, check=False).returncode == 0

    def run(self, program: Path, verb: str = "check") -> Fate:
        """Run a program over the corpus."""
        command = [str(program), verb, str(self.folder / "stimulus"), str(self.folder / "result")]
        try:
            done = subprocess.run(command, capture_output=True, timeout=RUN_S, check=False)
        except subprocess.TimeoutExpired:
            return Fate.HUNG
        if done.returncode < 0:
            return Fate.CRASHED
        return Fate.CAUGHT if done.returncode == 1 else Fate.SURVIVED


def compile_all(pairing: Pairing, folder: Path, flags: tuple[str, ...], *more: Path) -> Range:
    """Compile the unbroken core of a pairing and more files; raises BoardError when refused."""
    folder.mkdir(parents=True, exist_ok=True)
    generated = [path for path in tables.write(pairing, folder) if path.suffix == ".c"]
    made = Range(pairing.name, folder, {}, flags)
    for source in [*needed_sources(pairing), *generated, *more]:
        target = folder / f"{source.stem}.o"
        if not made.compile(source, target):
            raise BoardError(f"the C compiler refuses {source.name}")
        made.objects[source.name] = target
    return made


def prepare(pairing: Pairing, vectors: Path, pairings: Pairings, folder: Path) -> Range:
    """Build the unbroken core of a pairing and record what it does with all its vectors.

    Raises BoardError when it cannot be built or does not repeat itself.
    """
    made = compile_all(pairing, folder, OPTIMISED, REPLAY)
    program = folder / "unbroken"
    if not made.link(program, {}):
        raise BoardError("the linker refuses the unbroken core")
    paths = [path for path in sorted(vectors.iterdir()) if is_vector(path)]
    write_stream(paths, pairings, folder / "stimulus")
    if made.run(program, "record") is not Fate.SURVIVED or made.run(program) is not Fate.SURVIVED:
        raise BoardError(f"the unbroken core of {pairing.name} does not repeat itself")
    return made


def judge(ranges: list[Range], file: str, text: str, folder: Path) -> tuple[Fate, str]:
    """Return the fate of the core with one C file replaced, and the pairing that decided it.

    Pairings that do not use the file cannot tell and are left out.
    """
    folder.mkdir(parents=True, exist_ok=True)
    fate, decided = Fate.EQUAL, ""
    for one in ranges:
        if Path(file).name not in one.objects:
            continue
        broken = folder / Path(file).name
        broken.write_text(text, encoding="utf-8")
        target = folder / f"{broken.stem}.o"
        if not one.compile(broken, target):
            return Fate.NOT_BUILT, ""
        if same_code(target, one.objects[broken.name]):
            continue
        program = folder / "broken"
        if not one.link(program, {broken.name: target}):
            return Fate.NOT_BUILT, ""
        found = one.run(program)
        if found is not Fate.SURVIVED:
            return found, one.name
        fate, decided = Fate.SURVIVED, ""
    return fate, decided


def same_code(one: Path, other: Path) -> bool:
    """Return whether two objects hold the same code and constants: no test tells them apart."""
    return code_of(one) == code_of(other)


def code_of(path: Path) -> list[tuple[str, bytes]]:
    """Return the contents of an object's sections but for names of files."""
    from elftools.elf.elffile import ELFFile

    with path.open("rb") as stream:
        return [
            (section.name, section.data())
            for section in ELFFile(stream).iter_sections()
            if section.name.startswith((".text", ".rodata", ".data", ".bss", ".rela"))
        ]


def clear(folder: Path) -> None:
    """Remove a folder of trials."""
    shutil.rmtree(folder, ignore_errors=True)
