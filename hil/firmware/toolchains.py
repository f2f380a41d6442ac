"""Compilers for the firmware of this machine and of the STM32F405, with their flags."""

import importlib.util
import shutil
import sys
from dataclasses import dataclass

from hil.boards.interface import BoardError

LANGUAGE = ("-std=c99", "-pedantic")
WARNINGS = ("-Wall", "-Wextra", "-Wconversion", "-Wsign-conversion", "-Wshadow", "-Werror")
SECTIONS = ("-ffunction-sections", "-fdata-sections", "-fno-common")
CORTEX_M4 = ("-mcpu=cortex-m4", "-mthumb", "-mfloat-abi=soft")
ZIG_CORTEX_M4 = ("-target", "thumb-freestanding-eabi", "-mcpu=cortex_m4")
# Zig turns its sanitizer on by itself and keeps a frame pointer; neither belongs on the board.
ZIG_PLAIN = ("-fno-sanitize=undefined", "-fno-unwind-tables", "-fomit-frame-pointer")
NATIVE = "native"
STM32 = "stm32f405"
BOARDS = (NATIVE, STM32)
MISSING = {
    NATIVE: "no C compiler for this machine; Debian: apt-get install gcc libc6-dev, "
    'or from PyPI: pip install "xlate-bridge[firmware]"',
    STM32: "no compiler for the STM32F405; Debian: apt-get install gcc-arm-none-eabi "
    'libnewlib-arm-none-eabi, or from PyPI: pip install "xlate-bridge[firmware]"',
}


class NoCompilerError(BoardError):
    """No compiler for the board was found; the text says what to install."""


@dataclass(frozen=True, slots=True)
class Toolchain:
    """A compiler with the flags that aim it at one board.

    `reports_stack` tells whether it writes the call graph with the stack of every function.
    """

    name: str
    command: tuple[str, ...]
    target: tuple[str, ...]
    reports_stack: bool
    is_gcc: bool

    @property
    def many_at_once(self) -> bool:
        """Whether one call compiles several files; zig then keeps only the first object."""
        return self.name != "zig"

    def compile_flags(self) -> list[str]:
        """Return the flags for every C file; warnings are errors."""
        stack = ["-fstack-usage", "-fcallgraph-info=su"] if self.reports_stack else []
        own = ["-fno-tree-loop-distribute-patterns"] if self.is_gcc else ["-fno-builtin"]
        bare = ["-ffreestanding", "-fno-strict-aliasing", *own] if self.target else []
        return [*self.target, *LANGUAGE, *WARNINGS, "-g", *SECTIONS, *bare, *stack]


def zig_command() -> tuple[str, ...] | None:
    """Return how the C compiler of the PyPI package ziglang is called, or None without it."""
    if importlib.util.find_spec("ziglang") is None:
        return None
    return (sys.executable, "-m", "ziglang", "cc")


def find(board: str, wanted: str | None = None) -> Toolchain:
    """Return the first usable toolchain for a board; `wanted` names one of `gcc`, `clang`, `zig`.

    Raises NoCompilerError with what to install.
    """
    for toolchain in candidates(board):
        if wanted is None or toolchain.name == wanted:
            return toolchain
    if wanted is not None and any(True for _ in candidates(board)):
        there = " and ".join(one.name for one in candidates(board))
        raise NoCompilerError(f"{wanted} is not there for the board {board}; there is {there}")
    raise NoCompilerError(MISSING[board])


def candidates(board: str) -> list[Toolchain]:
    """Return every toolchain of this machine for a board, the preferred one first."""
    found = []
    if board == STM32:
        path = shutil.which("arm-none-eabi-gcc")
        if path is not None:
            found.append(Toolchain("gcc", (path,), CORTEX_M4, True, True))
        target: tuple[str, ...] = (*ZIG_CORTEX_M4, *ZIG_PLAIN)
    else:
        for name in ("gcc", "clang", "cc"):
            path = shutil.which(name)
            if path is not None:
                gcc = name == "gcc" and sys.platform == "linux"
                found.append(Toolchain(name, (path,), (), gcc, gcc))
        target = ()
    zig = zig_command()
    if zig is not None:
        found.append(Toolchain("zig", zig, target, False, False))
    return found
