"""The text of the fast form as it is translated into machine code.

There a call into a library costs more than the arithmetic it saves, so octets are read, checked and
put together one by one in 64-bit numbers; all else is the same text. `module_text` makes a module
of it: what the interpreted text has as its global names comes in as `bound`.
"""

from collections.abc import Callable, Iterable

from xlate_core.compiled.chunks import Chunk
from xlate_core.compiled.members import as_class
from xlate_core.compiled.text import Text
from xlate_core.functions import PURE
from xlate_core.interface import BridgeSpec
from xlate_core.protection import ChecksumKind, ChecksumSpec

WORD_OCTETS = 8
MOST_IN_MASK = 63  # a number of 64 bits has a sign

HEAD = """\
from typing import Any

from mypy_extensions import i64

from xlate_core.bridge import Bridge
from xlate_core.compiled.rest import Sleepers
from xlate_core.frames import Frame
from xlate_core.interface import Inputs, Outputs


def as_word(whole: int) -> i64:  # a number of 64 bits as the signed one of the same bits
    return i64(whole >> 1) << 1 | i64(whole & 1)


"""
TAIL = """

def build(engine: Bridge, support: Any, bound: dict[str, Any]) -> None:
    FastForm(engine, support, bound)
"""


def module_text(text: Text) -> str:
    """Return a whole module: `build` with the types of what the text refers to."""
    head = "def build(engine: Bridge, support: Any, bound: dict[str, Any]) -> None:"
    lines = [head]
    for name in text.bound:
        kind = "bytes" if name.endswith(("_table", "_final")) else "Any"
        kind = "tuple[bytes, ...]" if name == "OCTETS" else kind
        lines.append(f"    {name}: {kind} = bound[{name!r}]")
    return HEAD + as_class("\n".join([*lines, *text.lines[1:]]), "FastForm") + TAIL


def beyond_masks(spec: BridgeSpec) -> list[tuple[str, str, str]]:
    """Return what has no bit of its own in a mask of the text: key path, found, expected."""
    most = f"at most {MOST_IN_MASK}, one a bit of a 64-bit number"
    packs = [
        (f"transmit.{message.name}.signals", f"{len(message.packs)} quantities", most)
        for message in spec.transmits
        if len(message.packs) > MOST_IN_MASK
    ]
    functions = [
        (f"function[{place}]", f"`{one.name}` at place {place + 1}", most)
        for place, one in enumerate(spec.functions)
        if isinstance(one, PURE) and place >= MOST_IN_MASK
    ]
    return packs + functions


def word_of_octets(length: int) -> str:
    """Return the text of a payload `data` as a little-endian word."""
    parts = [f"i64(data[{n}])" + (f" << {8 * n}" if n else "") for n in range(length)]
    return " | ".join(parts) or "0"


def read_lines(names: list[str], chunks: Iterable[Chunk]) -> list[str]:
    """Return the lines that give each chunk its number out of `word`."""
    return [f"{name} = {_number(chunk)}" for name, chunk in zip(names, chunks, strict=True)]


def _number(chunk: Chunk) -> str:
    if chunk.intel or chunk.size == 1:
        mask = (1 << 8 * chunk.size) - 1
        return f"word >> {8 * chunk.first} & {mask}" if chunk.first else f"word & {mask}"
    parts = []
    for significance, place in enumerate(reversed(range(chunk.first, chunk.end))):
        shift = f" << {8 * significance}" if significance else ""
        parts.append(octet_of_word(place) + shift)
    return " | ".join(parts)


def placed(value: str, chunk: Chunk) -> str:
    """Return the text of a chunk's number at its place in the payload as a little-endian word."""
    if value.isdecimal() and chunk.size == 1:  # a constant does not wrap by itself
        number = int(value) << 8 * chunk.first
        return str(number - (1 << 64) if number >> 63 else number)
    if chunk.intel or chunk.size == 1:
        return f"({value}) << {8 * chunk.first}" if chunk.first else f"({value})"
    parts = []
    for place in range(chunk.size):
        down, up = 8 * (chunk.size - 1 - place), 8 * (chunk.first + place)
        shifted = f"({value}) >> {down}" if down else f"({value})"
        parts.append(f"({shifted} & 255)" + (f" << {up}" if up else ""))
    return " | ".join(parts)


def octet_of_word(place: int) -> str:
    """Return the text of an octet of `word`, a payload as a little-endian number."""
    return f"(word >> {8 * place} & 255)" if place else "(word & 255)"


def octets_of_word(length: int) -> str:
    """Return the text of the payload that `word` holds."""
    return octets_of("word", length)


def octets_of(name: str, length: int) -> str:
    """Return the text of the payload that a word holds."""
    sign = ", signed=True" if length == WORD_OCTETS else ""
    return f"int({name}).to_bytes({length}, 'little'{sign})"


def covered(spec: ChecksumSpec) -> list[int]:
    """Return the places of the octets a checksum covers, without its own."""
    places = range(spec.first_octet, spec.last_octet + 1)
    return [place for place in places if place != spec.checksum_octet]


def register_lines(
    start: int, table: str, places: Iterable[int], text_of: Callable[[int], str]
) -> list[str]:
    """Return the lines that run a CRC register of 8 bits over octets."""
    lines = [f"register: i64 = {start}"]
    return lines + [f"register = i64({table}[register ^ {text_of(place)}])" for place in places]


def folded(spec: ChecksumSpec, text_of: Callable[[int], str]) -> str:
    """Return the text of a sum or of an exclusive or over octets."""
    constants = spec.before + spec.after
    parts = [text_of(place) for place in covered(spec)]
    if spec.kind is ChecksumKind.SUM8:
        return f"(({' + '.join([*parts, str(sum(constants))])}) & 255)"
    start = 0
    for one in constants:
        start ^= one
    return f"({' ^ '.join([*parts, str(start)])})"
