"""Builds a whole firmware program: core, link, one board and the tables of one pairing.

Everything that could differ between two builds is kept out: no date, no absolute path, sources in
the order of their names. The same sources, pairing and compiler give the same octets in any folder.
"""

import hashlib
import os
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

from hil.boards.interface import BoardError
from hil.cache import digest_of
from hil.firmware import call_graph, image, tables
from hil.firmware.building import NATIVE_MEMORY, needed_sources
from hil.firmware.toolchains import NATIVE, STM32, Toolchain, find
from xlate_core.pairing.model import Pairing

HERE = Path(__file__).resolve().parent
PROJECT = HERE.parents[1]
CORE = HERE / "core"
LINK = HERE / "link"
BOARDS = HERE / "boards"
FLASH_BUDGET = 64 * 1024
RAM_BUDGET = 16 * 1024
STACK_BUDGET = 1024
INTERRUPT_FRAME = 32
"""Octets the core itself stacks at an interrupt, without floating point (Armv7-M)."""
VARIANTS = {
    "link": ("main.c",),
    "measure": ("measure.c",),
    "profile": ("measure.c", "profile.c"),
}
"""Programs of a board, with the files that not all of them contain."""
PROFILE_FLAGS = (
    "-DXB_PROFILE",
    "-finstrument-functions",
    "-finstrument-functions-exclude-file-list=/boards/,xb_tables,measure,profile",
)
WHOLE_ENGINE = (
    "-O2",
    "-flto",
    "-flto-partition=one",
    "-fstack-usage",
    "-fcallgraph-info=su",
    "-dumpdir",
    "./whole_engine.",
)
"""Of the link: the engine is compiled there, and its call graph written among the objects."""
MOST_LINES = 12  # of a compiler that refuses
INTERRUPTS = ("xb_on_usart1", "xb_on_systick")


@dataclass(frozen=True, slots=True)
class Built:
    """A finished program and what it takes; `worst_stack` is None when the compiler does not say.

    `worst_path` are the functions down to the worst stack, interrupts not among them.
    """

    path: Path
    board: str
    pairing: str
    digest: str
    compiler: str
    size: image.ImageSize
    worst_stack: int | None
    worst_path: tuple[str, ...]
    allowance: tuple[str, ...]

    def plain(self) -> dict[str, object]:
        """Return everything as JSON holds it."""
        return {
            "path": self.path.as_posix(),
            "board": self.board,
            "pairing": self.pairing,
            "digest": self.digest,
            "compiler": self.compiler,
            **asdict(self.size),
            "worst_stack": self.worst_stack,
            "worst_path": list(self.worst_path),
            "stack_allowance_for": list(self.allowance),
            "budget": {"flash": FLASH_BUDGET, "ram": RAM_BUDGET, "worst_stack": STACK_BUDGET},
            "over_budget": self.over_budget(),
        }

    def over_budget(self) -> list[str]:
        """Return what takes more than its budget; only a board has budgets."""
        if self.board == NATIVE:
            return []
        taken = {
            "flash": (self.size.flash, FLASH_BUDGET),
            "RAM": (self.size.ram, RAM_BUDGET),
            "worst stack": (self.worst_stack or 0, STACK_BUDGET),
        }
        return [what for what, (octets, budget) in taken.items() if octets >= budget]


def ingredients(pairing: Pairing, board: str, flags: tuple[str, ...] = ()) -> str:
    """Return a digest over everything a program of a board is made of, for caches."""
    found = hashlib.sha256()
    toolchain = find(board)
    for word in (*toolchain.command, *toolchain.compile_flags(), *flags, sys.platform):
        found.update(word.encode())
    for text in tables.generate(pairing).values():
        found.update(text.encode())
    found.update(digest_of(CORE, LINK, BOARDS / board, Path(__file__)))
    return found.hexdigest()[:24]


def sources(pairing: Pairing, board: str, program: str, core: Path = CORE) -> list[Path]:
    """Return the C files of a pairing's program for a board in the order of their names."""
    others = {name for names in VARIANTS.values() for name in names} - set(VARIANTS[program])
    folders = [LINK, BOARDS / board] if program == "link" else [BOARDS / board]
    found = [path for folder in folders for path in folder.rglob("*.c")]
    found += needed_sources(pairing, core)
    return sorted((path for path in found if path.name not in others), key=lambda path: path.name)


def build(
    pairing: Pairing,
    board: str,
    directory: Path,
    program: str = "link",
    compiler: str | None = None,
    more_flags: tuple[str, ...] = (),
) -> Built:
    """Build a program into a folder and return what it takes.

    `more_flags` go to the compiler; given, they also say the memory of a native board's link.
    Raises NoCompilerError without a compiler, BoardError with what the compiler said.
    """
    toolchain = find(board, compiler)
    suffix = "" if program == "link" else f"_{program}"
    directory.mkdir(parents=True, exist_ok=True)
    generated = directory / "generated"
    objects = directory / f"objects{suffix}"
    objects.mkdir(exist_ok=True)
    for old in objects.iterdir():
        old.unlink()
    written = tables.write(pairing, generated)
    files = sources(pairing, board, program) + [path for path in written if path.suffix == ".c"]
    includes = [CORE, CORE / "functions", LINK, BOARDS / board, generated]
    maps = [f"-ffile-prefix-map={PROJECT}=.", f"-ffile-prefix-map={directory.resolve()}=build"]
    command = [*toolchain.command, *toolchain.compile_flags(), *maps]
    command += [f"-I{folder.resolve()}" for folder in includes]
    command += PROFILE_FLAGS if program == "profile" else ()
    command += ["-DXB_WHOLE"] if whole_engine(toolchain, board) else []
    memory = NATIVE_MEMORY if board == NATIVE and not more_flags else ()
    command += [f'-DXB_BOARD_NAME="{board}"', *memory, *more_flags]
    for flags, part in optimised(files, whole=whole_engine(toolchain, board)).items():
        names = [str(path.resolve()) for path in part]
        for some in [names] if toolchain.many_at_once else [[name] for name in names]:
            run([*command, *flags, "-c", *some], objects, "the C compiler")
    target = directory / f"xlate_{pairing.name}_{board}{suffix}.elf"
    link(toolchain, board, files, objects, target)
    worst, path, allowance = stack(toolchain, board, objects)
    size = image.measure(target)
    version = compiler_version(toolchain)
    return Built(target, board, pairing.name, pairing.digest, version, size, worst, path, allowance)


def whole_engine(toolchain: Toolchain, board: str) -> bool:
    """Return whether the engine and its tables are compiled as one piece.

    On the board they are: with the tables in sight every count and address in them is a constant,
    and loops over them can be written out (`core/unrolling.h`).
    """
    return board == STM32 and toolchain.is_gcc


def optimised(files: list[Path], *, whole: bool) -> dict[tuple[str, ...], list[Path]]:
    """Return the files by optimisation: the engine for speed, all else for size.

    Without being compiled as one piece the functions are for size as well: they run on control
    ticks only and are many.
    """
    if whole:
        parts = (BOARDS, LINK)
        quick = [path for path in files if not any(path.is_relative_to(one) for one in parts)]
        # Equal functions stay apart, since the call graph would know only one of them. Blocks stay
        # in the order of the text, else what is written out is full of far jumps and copies.
        flags: tuple[str, ...] = ("-O2", "-flto", "-fno-ipa-icf", "-fno-reorder-blocks")
    else:
        quick = [path for path in files if path.parent == CORE]
        flags = ("-O2",)
    return {flags: quick, ("-Os",): [path for path in files if path not in quick]}


def link(toolchain: Toolchain, board: str, files: list[Path], objects: Path, target: Path) -> None:
    """Link the objects into a program, which appears whole or not at all."""
    names = [f"{path.stem}.o" for path in files]
    temporary = target.with_name(f".{target.name}.tmp")
    command = [*toolchain.command, *toolchain.target, "-Wl,--gc-sections"]
    if whole_engine(toolchain, board):
        command += [*WHOLE_ENGINE, f"-ffile-prefix-map={objects.parent.resolve()}=build"]
    if board == STM32:
        script = BOARDS / board / "stm32f405.ld"
        command += ["-nostartfiles", f"-Wl,-T,{script}", "-Wl,--build-id=none"]
        libraries = ["-nostdlib", "-lgcc"] if toolchain.is_gcc else []
    else:
        libraries = []
    run([*command, "-o", str(temporary.resolve()), *names, *libraries], objects, "the linker")
    temporary.replace(target)


def stack(
    toolchain: Toolchain, board: str, objects: Path
) -> tuple[int | None, tuple[str, ...], tuple[str, ...]]:
    """Return the worst stack in octets, its path, and the functions an allowance stands for.

    On the board the deepest interrupt comes on top, with what the core stacks for it; interrupts of
    one priority do not nest.
    """
    if not toolchain.reports_stack:
        return None, (), ()
    graph = call_graph.read(objects.glob("*.ci"))
    if board == NATIVE:
        worst, path = graph.worst("main")
        return worst, path, tuple(sorted(graph.allowed))
    worst, path = graph.worst("xb_start")
    deepest = max(graph.worst(name)[0] for name in INTERRUPTS if name in graph.stack)
    return worst + deepest + INTERRUPT_FRAME, path, tuple(sorted(graph.allowed))


def compiler_version(toolchain: Toolchain) -> str:
    """Return the compiler's own first line about itself."""
    done = subprocess.run(
        [*toolchain.command, "--version"], capture_output=True, encoding="utf-8", check=False
    )
    return (done.stdout.splitlines() or [toolchain.name])[0]


def run(command: list[str], directory: Path, who: str) -> None:
    """Run a step of the build; raises BoardError with its words when it refuses."""
    environment = dict(os.environ, LC_ALL="C", SOURCE_DATE_EPOCH="0")
    done = subprocess.run(
        command,
        cwd=directory,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if done.returncode != 0:
        said = done.stderr.strip().splitlines()
        more = [f"(and {len(said) - MOST_LINES} more lines)"] if len(said) > MOST_LINES else []
        raise BoardError("\n".join([f"{who} refuses the firmware:", *said[:MOST_LINES], *more]))
