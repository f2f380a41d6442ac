"""Functions that only follow one input: what they did is remembered and done again."""

from collections.abc import Callable
from functools import partial
from operator import attrgetter
from typing import Any

from xlate_core.bridge import Bridge
from xlate_core.compiled import interpreted
from xlate_core.functions import FUNCTIONS

MOST_REMEMBERED = 1 << 14  # results remembered of one function


class _CapturingStore:
    """The store, with what is published noted down."""

    def __init__(self, store: Any) -> None:
        self.store = store
        self.published: list[tuple[int, int, int, bool]] = []

    def __getitem__(self, index: int) -> Any:
        return self.store[index]

    def publish(self, index: int, value: int, status: int = 0, real: bool = True) -> None:
        self.published.append((index, value, status, real))
        self.store.publish(index, value, status, real)


def _run(step: Callable[..., bool], spec: Any, state: Any, bridge: Bridge) -> None:
    step(spec, state, bridge.common.store, bridge.control.power)


def remembering(bridge: Bridge, number: int) -> Callable[[], None]:
    """Return a function that runs a vehicle function which only follows its one input.

    What it did is remembered by input and own state, and done again when both come back.
    """
    spec: Any = bridge.spec.functions[number]
    state = bridge.control.functions[number]
    step: Callable[..., bool] = FUNCTIONS[type(spec)][1]
    store = bridge.common.store
    source = store.states[spec.input]
    names = [one.name for one in state.FIELDS]
    own = attrgetter(*names)
    if interpreted.TRANSLATED:  # running it again costs less there
        return partial(_run, step, spec, state, bridge)
    known: dict[Any, tuple[Any, list[tuple[int, int, int, bool]]]] = {}
    publish = store.publish

    def run() -> None:
        before = own(state)
        key = (source.value, source.status, source.origin, before)
        done = known.get(key)
        if done is None:
            if len(known) >= MOST_REMEMBERED:
                known.clear()
            capturing = _CapturingStore(store)
            step(spec, state, capturing, bridge.control.power)
            known[key] = (own(state), capturing.published)
            return
        after, published = done
        if after != before:
            for name, value in zip(names, after if len(names) > 1 else (after,), strict=True):
                setattr(state, name, value)
        for one in published:
            publish(*one)

    return run
