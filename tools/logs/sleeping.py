"""Sleep and wake: when each bus fell silent, who spoke last, who spoke first, who woke whom."""

from dataclasses import dataclass

import numpy as np

from tools.logs.table import Array, FrameKind, FrameTable, Key, key_of

SHOWN = 5


@dataclass(frozen=True, slots=True)
class Silence:
    """One pause of a bus: its ends (microseconds) and the messages next to them in order.

    `ends_us` is None when the log ends in silence. `woken_by` names the bus that spoke before this
    one while it slept, with the delay, and is empty when this bus spoke first.
    """

    bus: str
    begins_us: int
    ends_us: int | None
    last: tuple[str, ...]
    first: tuple[str, ...]
    woken_by: str
    delay_us: int


@dataclass(frozen=True, slots=True)
class Sleep:
    """The pauses of all buses in the order of time, and the longest step while awake, per bus."""

    silences: list[Silence]
    longest_awake_us: dict[str, int]


def sleep(table: FrameTable, silent_us: int = 2_000_000) -> Sleep:
    """Return the pauses of at least `silent_us` on every bus."""
    shown = table.rows(table.kind != FrameKind.ERROR)
    times = {
        bus: np.flatnonzero(shown.bus == number)
        for number, bus in enumerate(table.channels)
        if bool(np.any(shown.bus == number))
    }
    silences: list[Silence] = []
    longest: dict[str, int] = {}
    end = int(table.time_us[-1]) if len(table) else 0
    for bus, rows in times.items():
        mine = shown.time_us[rows]
        steps = np.diff(mine)
        pauses = np.flatnonzero(steps >= silent_us)
        awake = steps[steps < silent_us]
        longest[bus] = int(awake.max()) if len(awake) else 0
        for pause in pauses.tolist():
            begins, ends = int(mine[pause]), int(mine[pause + 1])
            waker, delay = _waker(shown, times, bus, begins, ends, silent_us)
            silences.append(
                Silence(
                    bus,
                    begins,
                    ends,
                    _names(shown, rows[: pause + 1][::-1]),
                    _names(shown, rows[pause + 1 :]),
                    waker,
                    delay,
                )
            )
        if end - int(mine[-1]) >= silent_us:
            last = _names(shown, rows[::-1])
            silences.append(Silence(bus, int(mine[-1]), None, last, (), "", 0))
    return Sleep(sorted(silences, key=lambda silence: silence.begins_us), longest)


def _names(table: FrameTable, rows: Array) -> tuple[str, ...]:
    """Return the first few different messages of some rows, in their order."""
    found: dict[Key, None] = {}
    codes = table.rows(rows[:2000]).key_codes()
    for code in codes.tolist():
        found.setdefault(key_of(int(code)))
        if len(found) == SHOWN:
            break
    return tuple(key.show() for key in found)


def _waker(
    table: FrameTable, times: dict[str, Array], bus: str, begins: int, ends: int, silent_us: int
) -> tuple[str, int]:
    """Return the bus that was silent too and spoke shortly before, and how long before."""
    best, delay = "", 0
    for other, rows in times.items():
        if other == bus:
            continue
        mine = table.time_us[rows]
        inside = mine[(mine > begins) & (mine < ends)]
        if not len(inside):
            continue
        # Its talk that runs up to our wake-up, after a pause of its own.
        pauses = np.flatnonzero(np.diff(inside) >= silent_us)
        first = int(inside[pauses[-1] + 1]) if len(pauses) else int(inside[0])
        before = int(np.searchsorted(mine, first)) - 1
        rested = before < 0 or first - int(mine[before]) >= silent_us
        if rested and (not best or ends - first > delay):
            best, delay = other, ends - first
    return best, delay
