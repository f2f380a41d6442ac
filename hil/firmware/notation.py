"""C notation of constants: numbers, structs and arrays."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from xlate_core.arithmetic import INT32_MAX, INT32_MIN, INT64_MAX, INT64_MIN, Points
from xlate_core.errors import InputError

NULL = "NULL"


class NotationError(InputError):
    """A pairing that the firmware's number types cannot hold."""


def bounded(value: int, low: int, high: int, what: str) -> int:
    """Return the value; raises NotationError when it does not fit its type in the firmware."""
    if not low <= value <= high:
        raise NotationError(f"{what} is {value}; the firmware holds {low}..{high}")
    return value


def u8(value: int, what: str) -> str:
    """Return an unsigned 8-bit constant."""
    return f"{bounded(int(value), 0, 0xFF, what)}u"


def u16(value: int, what: str) -> str:
    """Return an unsigned 16-bit constant."""
    return f"{bounded(value, 0, 0xFFFF, what)}u"


def u32(value: int, what: str) -> str:
    """Return an unsigned 32-bit constant."""
    return f"{bounded(value, 0, 0xFFFFFFFF, what)}u"


def u64(value: int, what: str) -> str:
    """Return an unsigned 64-bit constant."""
    return f"UINT64_C(0x{bounded(value, 0, (1 << 64) - 1, what):X})"


def i8(value: int, what: str) -> str:
    """Return a signed 8-bit constant."""
    return str(bounded(value, -0x80, 0x7F, what))


def i32(value: int, what: str) -> str:
    """Return a signed 32-bit constant; the smallest has no literal of its own in C."""
    bounded(value, INT32_MIN, INT32_MAX, what)
    return "INT32_MIN" if value == INT32_MIN else str(value)


def i64(value: int, what: str) -> str:
    """Return a signed 64-bit constant; the smallest has no literal of its own in C."""
    bounded(value, INT64_MIN, INT64_MAX, what)
    return "INT64_MIN" if value == INT64_MIN else f"INT64_C({value})"


def struct(fields: dict[str, str]) -> str:
    """Return a struct's initialiser with every member named."""
    return "{" + ", ".join(f".{name} = {value}" for name, value in fields.items()) + "}"


@dataclass(slots=True)
class Arrays:
    """The constant arrays written so far, in order; equal ones are written once."""

    texts: list[str] = field(default_factory=list)
    names: dict[tuple[str, tuple[str, ...]], str] = field(default_factory=dict)

    def add(self, kind: str, prefix: str, items: Iterable[str]) -> str:
        """Write an array and return its name, NULL for an empty one."""
        entries = tuple(items)
        if not entries:
            return NULL
        if (kind, entries) not in self.names:
            name = f"{prefix}_{len(self.texts)}"
            self.names[kind, entries] = name
            self.texts.append(array(f"static const {kind} {name}", entries))
        return self.names[kind, entries]

    def one(self, kind: str, prefix: str, item: str) -> str:
        """Write a single constant and return the expression of its address."""
        return f"&{self.add(kind, prefix, [item])}[0]"

    def indices(self, indices: Iterable[int]) -> str:
        """Write a list of indices and return its name."""
        return self.add("uint16_t", "indices", (u16(index, "an index") for index in indices))

    def set_words(self, places: Iterable[int]) -> tuple[str, int]:
        """Write the words of a set of places that are not empty; return their name and number."""
        words: dict[int, int] = {}
        for place in places:
            words[place // 32] = words.get(place // 32, 0) | 1 << place % 32
        entries = [
            struct({"word": u32(word, "a set"), "bits": u32(bits, "a set")})
            for word, bits in sorted(words.items())
        ]
        return self.add("xb_set_word", "set_words", entries), len(entries)


def points(arrays: Arrays, points: Points, what: str) -> str:
    """Return the name of an array of points."""
    entries = (struct({"x": i32(x, what), "y": i32(y, what)}) for x, y in points)
    return arrays.add("xb_point", "points", entries)


def curve(arrays: Arrays, curve: Points, what: str) -> str:
    """Return a curve."""
    return struct({"points": points(arrays, curve, what), "count": u32(len(curve), what)})


def array(declaration: str, entries: Sequence[str]) -> str:
    """Return the text of an array's definition, one entry a line."""
    lines = "".join(f"    {entry},\n" for entry in entries)
    return f"{declaration}[{len(entries)}] = {{\n{lines}}};\n"
