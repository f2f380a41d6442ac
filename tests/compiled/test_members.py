"""A function with inner functions, and the class made of it, do the same."""

from typing import Any

from xlate_core.compiled.members import as_class

COUNTER = """\
def build(start: int, told: list[int]) -> None:
    total: int = start
    steps = 0
    limit, low = 10, 0

    def add(amount: int) -> int:
        nonlocal total, steps
        total += amount
        steps += 1
        if total > limit:
            reset(total)
        return total

    def reset(total: int) -> None:
        kept = [low for low in (1, 2)]
        told.append(total)
        set_to(kept[0] - 1)

    def set_to(value: int) -> None:
        nonlocal total
        total = value + low

    told.append(start)
"""


def test_the_class_does_what_the_function_does() -> None:
    names: dict[str, Any] = {}
    exec(as_class(COUNTER, "Counter"), names)
    exec(COUNTER.replace("    told.append(start)", "    return add, lambda: (total, steps)"), names)
    told_1: list[int] = []
    told_2: list[int] = []
    one = names["Counter"](3, told_1)
    add, state = names["build"](3, told_2)
    assert told_1 == [3]
    for amount in (1, 5, 2, 4, 30, 7):
        assert one.add(amount) == add(amount)
        assert (one.total, one.steps) == state()
    assert told_1[1:] == told_2 == [11, 34]


def test_state_is_declared_where_the_object_is_made() -> None:
    text = as_class(COUNTER, "Counter")
    assert "self.total: int = start" in text
    assert "nonlocal" not in text
    assert "def add(self, amount: int) -> int:" in text
    assert "self.reset(self.total)" in text
    assert "self.told.append(total)" in text, "a parameter hides the state of its name"
