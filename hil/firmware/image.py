"""What a built program takes of flash and RAM, read from its ELF file."""

from dataclasses import dataclass
from pathlib import Path

ALLOCATED = 0x2
WRITABLE = 0x1
NOT_IN_FILE = "SHT_NOBITS"
STACK_SECTION = ".stack"


@dataclass(frozen=True, slots=True)
class ImageSize:
    """Octets: `flash` holds code, constants and first values; `ram` all variables and the stack.

    `stack` is the room kept for the stack, 0 where the system gives it.
    """

    flash: int
    ram: int
    stack: int


def measure(elf: Path) -> ImageSize:
    """Return the sizes of an ELF file."""
    from elftools.elf.elffile import ELFFile

    flash = ram = stack = 0
    with elf.open("rb") as stream:
        for section in ELFFile(stream).iter_sections():
            if not section["sh_flags"] & ALLOCATED:
                continue
            size = int(section["sh_size"])
            in_file = section["sh_type"] != NOT_IN_FILE
            if in_file:
                flash += size
            if section["sh_flags"] & WRITABLE or not in_file:
                ram += size
            if section.name == STACK_SECTION:
                stack = size
    return ImageSize(flash, ram, stack)
