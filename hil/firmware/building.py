"""Builds the C core with the tables of one pairing for this machine."""

import subprocess
from collections.abc import Sequence
from pathlib import Path

from hil.boards.interface import BoardError
from hil.firmware import tables
from hil.firmware.function_tables import unused_files
from hil.firmware.toolchains import LANGUAGE, NATIVE, WARNINGS, find
from xlate_core.pairing.model import Pairing

CORE = Path(__file__).resolve().parent / "core"
LINK = CORE.parent / "link"
OPTIMISED = ("-O2",)
NATIVE_MEMORY = ("-DXB_LINK_PACKET=8192u", "-DXB_LINK_SLOTS=16u")  # this machine has plenty
SANITISED = ("-O1", "-g", "-fsanitize=undefined,address", "-fno-sanitize-recover=all")


def core_sources(core: Path = CORE) -> list[Path]:
    """Return the C files of the core, of every kind of function."""
    return sorted(core.rglob("*.c"))


def needed_sources(pairing: Pairing, core: Path = CORE) -> list[Path]:
    """Return the C files of the core that a pairing needs: without functions it does not use."""
    spared = unused_files(pairing.spec.functions)
    return [path for path in core_sources(core) if path.name not in spared]


def compile_core(
    pairing: Pairing,
    directory: Path,
    output: str,
    flags: Sequence[str],
    more: Sequence[Path] = (),
    core: Path = CORE,
) -> Path:
    """Generate the tables into a folder and compile core, tables and `more` into `output` there.

    `core` is another folder of the core's sources, where a test breaks a copy on purpose.
    Raises NoCompilerError without a compiler, BoardError with what the compiler said.
    """
    compiler = find(NATIVE).command
    generated = tables.write(pairing, directory)
    sources = [
        *needed_sources(pairing, core),
        *(path for path in generated if path.suffix == ".c"),
        *more,
    ]
    target = directory / output
    includes = [f"-I{core}", f"-I{core / 'functions'}", f"-I{directory}"]
    command = [*compiler, *LANGUAGE, *WARNINGS, *flags, *includes, *map(str, sources)]
    done = subprocess.run(
        [*command, "-o", str(target)], capture_output=True, encoding="utf-8", check=False
    )
    if done.returncode != 0:
        raise BoardError(f"the C compiler refuses the core:\n{done.stderr.strip()}")
    return target


def build_library(pairing: Pairing, directory: Path, core: Path = CORE) -> Path:
    """Build the core of a pairing as a shared library; return its path."""
    flags = (*OPTIMISED, "-fPIC", "-shared")
    return compile_core(pairing, directory, "xlate_bridge.so", flags, core=core)
