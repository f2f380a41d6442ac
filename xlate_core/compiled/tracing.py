"""Recording numbers: they tell in which range a step would do exactly the same again.

A step of the readable engine is run once on a copy of its state, with recording numbers in place of
the state's own numbers and of the quantities it reads. Every comparison is answered truthfully and
narrows the range in which the answer stays the same. Adding a constant keeps a number recording;
everything else (products, table look-ups, use as an index) pins it to the value it has. What cannot
be followed raises an error in the trial, and the step is then simply run on every control tick.

So nothing needs to be known of a vehicle function: a new one works without a change here.
"""

from typing import Any, NoReturn

LOWEST = -(1 << 62)  # beyond any number of the engine, and a 64-bit one in machine code
HIGHEST = 1 << 62


class UntraceableError(Exception):
    """The trial met something it cannot follow."""


class Variable:
    """A number a step starts from, and the range in which it would go the same way."""

    __slots__ = ("high", "low", "value")

    def __init__(self, value: int) -> None:
        """Start with any range."""
        self.value = value
        self.low = LOWEST
        self.high = HIGHEST

    def pin(self) -> None:
        """Allow this one value only."""
        self.low = self.high = self.value


class Recorded:
    """A variable plus a constant, standing in for a number; no int, so nothing slips through."""

    __slots__ = ("offset", "variable")

    def __init__(self, variable: Variable, offset: int = 0) -> None:
        """Stand for the variable's value plus an offset."""
        self.variable = variable
        self.offset = offset

    def plain(self) -> int:
        """Return the number itself; the variable is pinned to it."""
        self.variable.pin()
        return self.variable.value + self.offset

    # Comparisons narrow the range.

    def _below(self, limit: int) -> bool:
        """Answer whether the number is below the limit."""
        variable = self.variable
        limit -= self.offset
        if variable.value < limit:
            variable.high = min(variable.high, limit - 1)
            return True
        variable.low = max(variable.low, limit)
        return False

    def __lt__(self, other: Any) -> bool:
        return self._below(number(other))

    def __le__(self, other: Any) -> bool:
        return self._below(number(other) + 1)

    def __gt__(self, other: Any) -> bool:
        return not self._below(number(other) + 1)

    def __ge__(self, other: Any) -> bool:
        return not self._below(number(other))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, int | Recorded):
            self.plain()
            return False
        limit = number(other)
        if self._below(limit):
            return False
        return self._below(limit + 1)

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __bool__(self) -> bool:
        return self != 0

    # A constant added keeps recording.

    def __add__(self, other: Any) -> "Recorded":
        return Recorded(self.variable, self.offset + number(other))

    __radd__ = __add__

    def __sub__(self, other: Any) -> "Recorded":
        return Recorded(self.variable, self.offset - number(other))

    # Everything else pins.

    def __rsub__(self, other: Any) -> int:
        return number(other) - self.plain()

    def __mul__(self, other: Any) -> int:
        return self.plain() * number(other)

    __rmul__ = __mul__

    def __floordiv__(self, other: Any) -> int:
        return self.plain() // number(other)

    def __rfloordiv__(self, other: Any) -> int:
        return number(other) // self.plain()

    def __mod__(self, other: Any) -> int:
        return self.plain() % number(other)

    def __rmod__(self, other: Any) -> int:
        return number(other) % self.plain()

    def __divmod__(self, other: Any) -> tuple[int, int]:
        return divmod(self.plain(), number(other))

    def __and__(self, other: Any) -> int:
        return self.plain() & number(other)

    __rand__ = __and__

    def __or__(self, other: Any) -> int:
        return self.plain() | number(other)

    __ror__ = __or__

    def __xor__(self, other: Any) -> int:
        return self.plain() ^ number(other)

    __rxor__ = __xor__

    def __lshift__(self, other: Any) -> int:
        return self.plain() << number(other)

    def __rlshift__(self, other: Any) -> int:
        return number(other) << self.plain()

    def __rshift__(self, other: Any) -> int:
        return self.plain() >> number(other)

    def __rrshift__(self, other: Any) -> int:
        return number(other) >> self.plain()

    def __neg__(self) -> int:
        return -self.plain()

    def __abs__(self) -> int:
        return abs(self.plain())

    def __invert__(self) -> int:
        return ~self.plain()

    def __int__(self) -> int:
        return self.plain()

    def __index__(self) -> int:
        return self.plain()

    def __hash__(self) -> int:
        return hash(self.plain())

    def __getattr__(self, name: str) -> NoReturn:
        raise UntraceableError(f"a recording number has no {name}")


def number(value: Any) -> int:
    """Return a plain number; a recording one is pinned."""
    if isinstance(value, Recorded):
        return value.plain()
    if isinstance(value, int):
        return int(value)
    raise UntraceableError(f"{type(value).__name__} is no number")
