"""How faults are made on the bench and taken away: acts on senders, inputs, frames on their way."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from hil.vectors.senders import set_signal
from xlate_core.bridge import ResetCause
from xlate_core.buses import BusInput, ControllerState
from xlate_core.frames import Frame

if TYPE_CHECKING:
    from tools.failsafe.bench import Bench

Act = Callable[["Bench"], None]
FLOOD_FRAMES = 5  # a tick: more than 500 kbit/s carry in a millisecond
FLOOD_IDENTIFIER = 0x7FE
FOREVER_FRAMES = 1 << 30
LOW_SUPPLY_MV = 4000
SHIFTED_PART = 16  # of the valid range
FULL_SCALE = 65535


def nothing(bench: Bench) -> None:
    """Do nothing: what cannot be taken away, or is no act."""
    del bench


def silence(name: str, silent: bool) -> Act:
    """Return an act that silences a sender, or lets it speak again."""

    def act(bench: Bench) -> None:
        bench.senders[name].silent = silent

    return act


def disturbed(name: str, kind: str, number: int) -> tuple[Act, Act]:
    """Return the acts that spoil every frame of a sender from now on, and that end it."""

    def apply(bench: Bench) -> None:
        bench.senders[name].disturbances[kind] = [FOREVER_FRAMES, number]

    def remove(bench: Bench) -> None:
        bench.senders[name].disturbances.clear()

    return apply, remove


def value(name: str, raw: int) -> Act:
    """Return an act that sets a signal to a raw value."""
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        set_signal(bench.senders[f"{bus}.{message}"], signal, raw)

    return act


def other_end(name: str, valid: tuple[int, int]) -> Act:
    """Return an act that puts the signal to the farther end of its valid range."""
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        sender = bench.senders[f"{bus}.{message}"]
        now = sender.values[signal]
        far = valid[1] if valid[1] - now >= now - valid[0] else valid[0]
        set_signal(sender, signal, far)

    return act


def shifted(name: str, valid: tuple[int, int]) -> Act:
    """Return an act that shifts the signal by a small part of its valid range, at least one step.

    At the upper end it is shifted downwards.
    """
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        sender = bench.senders[f"{bus}.{message}"]
        shift = max(1, (valid[1] - valid[0]) // SHIFTED_PART)
        raw = sender.values[signal] + shift
        set_signal(sender, signal, raw if raw <= valid[1] else raw - 2 * shift)

    return act


def former(name: str) -> Act:
    """Return an act that sets a signal to what it was before the fault."""
    bus, message, signal = name.split(".")

    def act(bench: Bench) -> None:
        before = bench.base.senders[f"{bus}.{message}"].values[signal]
        set_signal(bench.senders[f"{bus}.{message}"], signal, before)

    return act


def counts(index: int, counts: int) -> Act:
    """Return an act that sets an analogue input."""

    def act(bench: Bench) -> None:
        bench.set_count(index, counts)

    return act


def other_level(index: int) -> Act:
    """Return an act that puts a level input into its other position."""

    def act(bench: Bench) -> None:
        bench.set_level(index, not bench.inputs.levels[index])

    return act


def former_inputs(bench: Bench) -> None:
    """Put all inputs back to what they were before the fault."""
    bench.inputs = bench.base.inputs


def on_the_way(change: Callable[[Frame], list[Frame]]) -> Act:
    """Return an act after which every frame is changed on its way."""

    def act(bench: Bench) -> None:
        bench.filters.append(change)

    return act


def nothing_on_the_way(bench: Bench) -> None:
    """Let every frame arrive and leave as it is."""
    bench.filters, bench.watch.dead = [], set()


def without(bus: int) -> Callable[[Frame], list[Frame]]:
    """Return a change that loses the frames of a bus."""
    return lambda frame: [] if frame.bus == bus else [frame]


def swapped(frame: Frame) -> list[Frame]:
    """Let a frame arrive at the other bus."""
    return [frame._replace(bus=1 - frame.bus)]


def every_second(key: object) -> Act:
    """Return an act after which every second frame with this key is lost."""

    def act(bench: Bench) -> None:
        turn = [False]

        def change(frame: Frame) -> list[Frame]:
            if frame.key != key:
                return [frame]
            turn[0] = not turn[0]
            return [frame] if turn[0] else []

        bench.filters.append(change)

    return act


def bus_off(bus: int) -> Act:
    """Return an act after which the controller of a bus is off: nothing comes, nothing leaves."""

    def act(bench: Bench) -> None:
        states = list(bench.inputs.buses)
        states[bus] = BusInput(ControllerState.BUS_OFF)
        bench.inputs = bench.inputs._replace(buses=(states[0], states[1]))
        bench.filters.append(without(bus))
        bench.watch.dead.add(bus)

    return act


def cut(bus: int) -> Act:
    """Return an act after which nothing comes from a bus and nothing leaves on it."""

    def act(bench: Bench) -> None:
        bench.filters.append(without(bus))
        bench.watch.dead.add(bus)

    return act


def unacknowledged(bus: int) -> Act:
    """Return an act after which a bus is empty and nobody acknowledges."""

    def act(bench: Bench) -> None:
        states = list(bench.inputs.buses)
        states[bus] = BusInput(ControllerState.ERROR_PASSIVE, unacknowledged=1)
        bench.inputs = bench.inputs._replace(buses=(states[0], states[1]))
        bench.filters.append(without(bus))
        bench.watch.dead.add(bus)

    return act


def bus_on(bench: Bench) -> None:
    """Put all buses back to what they were before the fault."""
    bench.inputs = bench.base.inputs
    nothing_on_the_way(bench)


def flood(bus: int) -> Act:
    """Return an act after which unknown frames fill a bus."""

    def act(bench: Bench) -> None:
        frame = Frame(bus, False, FLOOD_IDENTIFIER, bytes(8))
        bench.more_frames = lambda now: [frame] * FLOOD_FRAMES

    return act


def no_more_frames(bench: Bench) -> None:
    """End a flood."""
    bench.more_frames = None


def watchdog(bench: Bench) -> None:
    """Restart the bridge as its watchdog does."""
    bench.restart(ResetCause.WATCHDOG)


def brown_out(bench: Bench) -> None:
    """Let the supply dip for a tick, and restart the bridge."""
    bench.inputs = bench.inputs._replace(supply_mv=LOW_SUPPLY_MV)
    bench.step()
    bench.restart(ResetCause.BROWN_OUT)
    bench.inputs = bench.base.inputs


def floating(indices: tuple[int, ...]) -> Act:
    """Return an act after which analogue inputs are at their upper end."""

    def act(bench: Bench) -> None:
        for index in indices:
            bench.set_count(index, FULL_SCALE)

    return act
