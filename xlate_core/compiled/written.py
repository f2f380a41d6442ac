"""Numbers that write down what is done with them: one run of a step becomes straight-line text.

A step of the readable engine is run once on a copy of its state with these numbers in place of the
state's own numbers and of the quantities it reads. What it works out is noted as lines of text.
Every comparison is answered truthfully and noted as a condition: where it would be answered
otherwise, the text does not apply. Use as an index, in a table or a set pins a number to its value.
What cannot be followed raises UntraceableError, and the step is then run as it stands.
"""

from typing import Any, NamedTuple, NoReturn

from xlate_core.compiled.tracing import UntraceableError

MOST_LINES = 400


class Condition(NamedTuple):
    """A condition in a followed run, and how it was answered."""

    text: str
    holds: bool


class Notes:
    """What one followed run worked out, as lines, with the conditions it met between them."""

    def __init__(self) -> None:
        """Start with nothing."""
        self.lines: list[str | Condition] = []
        self._known: set[str] = set()
        self._names: dict[str, Written] = {}

    def work_out(self, text: str, value: int) -> "Written":
        """Note an expression under a name; the same expression has the same name."""
        found = self._names.get(text)
        if found is None:
            name = f"v{len(self._names)}"
            self._add(f"{name} = {text}")
            found = self._names[text] = Written(self, name, value)
        return found

    def require(self, text: str, holds: bool) -> bool:
        """Note that a condition is answered as it is now; return the answer."""
        if text not in self._known:
            self._known.add(text)
            self._add(Condition(text, holds))
        return holds

    def _add(self, line: str | Condition) -> None:
        if len(self.lines) >= MOST_LINES:
            raise UntraceableError("the step does too much to be written down")
        self.lines.append(line)


class Written:
    """A number with a name in the text; no int, so nothing slips through."""

    __slots__ = ("name", "notes", "value")

    def __init__(self, notes: Notes, name: str, value: int) -> None:
        """Stand for what has this name in the text and this value in the run that is followed."""
        self.notes = notes
        self.name = name
        self.value = value

    def plain(self) -> int:
        """Return the number itself; the text applies to this value only."""
        self.notes.require(f"{self.name} == {self.value}", True)
        return self.value

    # Comparisons are conditions.

    def _compare(self, sign: str, other: Any, holds: bool) -> bool:
        return self.notes.require(f"{self.name} {sign} {text_of(other)}", holds)

    def __lt__(self, other: Any) -> bool:
        return self._compare("<", other, self.value < value_of(other))

    def __le__(self, other: Any) -> bool:
        return self._compare("<=", other, self.value <= value_of(other))

    def __gt__(self, other: Any) -> bool:
        return self._compare(">", other, self.value > value_of(other))

    def __ge__(self, other: Any) -> bool:
        return self._compare(">=", other, self.value >= value_of(other))

    def __eq__(self, other: object) -> bool:
        return self._compare("==", other, self.value == value_of(other))

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __bool__(self) -> bool:
        return self != 0

    # Arithmetic is noted.

    def _note(self, left: Any, sign: str, right: Any, value: int) -> "Written":
        return self.notes.work_out(f"{text_of(left)} {sign} {text_of(right)}", value)

    def __add__(self, other: Any) -> "Written":
        return self._note(self, "+", other, self.value + value_of(other))

    def __radd__(self, other: Any) -> "Written":
        return self._note(other, "+", self, value_of(other) + self.value)

    def __sub__(self, other: Any) -> "Written":
        return self._note(self, "-", other, self.value - value_of(other))

    def __rsub__(self, other: Any) -> "Written":
        return self._note(other, "-", self, value_of(other) - self.value)

    def __mul__(self, other: Any) -> "Written":
        return self._note(self, "*", other, self.value * value_of(other))

    def __rmul__(self, other: Any) -> "Written":
        return self._note(other, "*", self, value_of(other) * self.value)

    def __floordiv__(self, other: Any) -> "Written":
        divisor = pinned(other)
        return self._note(self, "//", divisor, self.value // divisor)

    def __mod__(self, other: Any) -> "Written":
        divisor = pinned(other)
        return self._note(self, "%", divisor, self.value % divisor)

    def __divmod__(self, other: Any) -> tuple["Written", "Written"]:
        return self // other, self % other

    def __neg__(self) -> "Written":
        return self.notes.work_out(f"-{self.name}", -self.value)

    def __abs__(self) -> "Written":
        return -self if self < 0 else self

    # Everything else pins.

    def __rfloordiv__(self, other: Any) -> int:
        return pinned(other) // self.plain()

    def __rmod__(self, other: Any) -> int:
        return pinned(other) % self.plain()

    def __rdivmod__(self, other: Any) -> tuple[int, int]:
        return divmod(pinned(other), self.plain())

    def __and__(self, other: Any) -> int:
        return self.plain() & pinned(other)

    __rand__ = __and__

    def __or__(self, other: Any) -> int:
        return self.plain() | pinned(other)

    __ror__ = __or__

    def __xor__(self, other: Any) -> int:
        return self.plain() ^ pinned(other)

    __rxor__ = __xor__

    def __lshift__(self, other: Any) -> int:
        return self.plain() << pinned(other)

    def __rlshift__(self, other: Any) -> int:
        return pinned(other) << self.plain()

    def __rshift__(self, other: Any) -> int:
        return self.plain() >> pinned(other)

    def __rrshift__(self, other: Any) -> int:
        return pinned(other) >> self.plain()

    def __invert__(self) -> int:
        return ~self.plain()

    def __int__(self) -> int:
        return self.plain()

    def __index__(self) -> int:
        return self.plain()

    def __hash__(self) -> int:
        return hash(self.plain())

    def __getattr__(self, name: str) -> NoReturn:
        raise UntraceableError(f"a written number has no {name}")


def text_of(value: Any) -> str:
    """Return a number as it stands in the text."""
    if isinstance(value, Written):
        return value.name
    return f"({int(value)})" if value_of(value) < 0 else str(int(value))


def value_of(value: Any) -> int:
    """Return the value a number has in the run that is followed."""
    if isinstance(value, Written):
        return value.value
    if isinstance(value, int):
        return int(value)
    raise UntraceableError(f"{type(value).__name__} is no number")


def pinned(value: Any) -> int:
    """Return a plain number; the text applies to this value of a written one only."""
    return value.plain() if isinstance(value, Written) else value_of(value)
