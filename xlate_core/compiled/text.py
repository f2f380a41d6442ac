"""Writing a generated module: lines, indentation, and the values its names stand for."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

INDENT = "    "


class Text:
    """The text of a generated module.

    `bound` holds the objects of the pairing and the engine's functions that the text uses by name.
    """

    def __init__(self, native: bool = False) -> None:
        """Start with an empty text; a native one is meant for translation into machine code."""
        self.native = native
        self.lines: list[str] = []
        self.bound: dict[str, Any] = {}
        self._depth = 0

    def add(self, *lines: str) -> None:
        """Add lines at the present depth."""
        self.lines += [INDENT * self._depth + line for line in lines]

    def declare(self, type_name: str, *names: str, value: str = "0") -> None:
        """Add local names with their type, all of one value."""
        self.add(*[f"{name}: {type_name} = {value}" for name in names])

    @contextmanager
    def block(self, head: str) -> Iterator[None]:
        """Add a line that opens a block; what is added inside stands one level deeper."""
        self.add(head)
        self._depth += 1
        before = len(self.lines)
        yield
        if len(self.lines) == before:
            self.add("pass")
        self._depth -= 1

    def by_number(
        self, name: str, numbers: Sequence[int], add: Callable[[int], None], none: str = "pass"
    ) -> None:
        """Add what is done for each of some numbers, which `name` stands for, found by halving.

        `none` is the line where there are no numbers.
        """
        if not numbers:
            self.add(none)
            return
        if len(numbers) == 1:
            add(numbers[0])
            return
        middle = len(numbers) // 2
        with self.block(f"if {name} < {numbers[middle]}:"):
            self.by_number(name, numbers[:middle], add)
        with self.block("else:"):
            self.by_number(name, numbers[middle:], add)

    def bind(self, name: str, value: Any) -> str:
        """Let a name of the text stand for an object; returns the name."""
        self.bound[name] = value
        return name

    def nonlocals(self, names: list[str]) -> None:
        """Declare the names a function of the text changes."""
        if names:
            self.add(f"nonlocal {', '.join(dict.fromkeys(names))}")

    def whole(self) -> str:
        """Return the text."""
        return "\n".join(self.lines) + "\n"
