"""Every reachable state of a pairing so small that all of them can be visited.

The pairing `fixtures/tables/smallest_states` has no timer above 3 ticks. From power-on, every
letter of an alphabet of inputs is given to every state until no new state comes up (breadth first,
so the way to a broken state is a shortest one). What is required looks at inputs and outputs only:
a few counters of history run beside the engine and are part of the state.

Two images are one state when they differ only in what cannot matter: counts that are only told, and
timers beyond LONGEST, which is beyond every comparison of this pairing. That is not just believed:
where a different image of a known state comes up, both are given every letter, and have to do the
same and to end in the same states.
"""

from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from xlate_core.bridge import Bridge, Inputs, Outputs, ResetCause
from xlate_core.fields import Overflow
from xlate_core.frames import Bus, Frame
from xlate_core.interface import BridgeSpec
from xlate_core.pairing import load

PAIRING = Path(__file__).resolve().parents[2] / "fixtures" / "tables" / "smallest_states"
LONGEST = 4  # ticks: no timer of the pairing is above 3
IDENTIFIER = 288
FRAMES: dict[str, int | None] = {
    "no frame": None,
    "standing, cold": 0b0000,
    "turning, hot": 0b1001,
    "turning, warmth not available": 0b1101,
}
TURNING, WARMTH, NO_WARMTH = 0b0001, 0b1100, 0b1100
ONLY_TOLD = (
    "unknown",
    "second_sender",
    "short",
    "checksum_wrong",
    "counter_wrong",
    "selector_unknown",
    "good",
    "bad",
)
"""Counts that nothing in this pairing looks at: no fault watches a message or a bus."""
CHECKED_AGAIN = 2000  # images of known states that are given every letter once more

Key = tuple[int, ...]


class Letter(NamedTuple):
    """What a tick can bring: a frame or none, the key, or a restart before the tick."""

    words: str
    payload: int | None
    key_on: bool
    restart: bool


LETTERS = tuple(
    Letter(f"key {'on' if key else 'off'}, {words}", payload, key, False)
    for key in (False, True)
    for words, payload in FRAMES.items()
) + tuple(
    Letter(f"restart, key {'on' if key else 'off'}", None, key, True) for key in (False, True)
)


class History(NamedTuple):
    """What a person can count beside the module, in ticks up to `MOST`.

    `key_on`, `key_off`: since the key last changed; `no_warmth`, `standing`: since a frame last
    told a valid warmth, a turning engine. A restart begins anew.
    """

    key_on: int = 0
    key_off: int = 0
    no_warmth: int = 0
    standing: int = 0


MOST = 8
FAN_AFTER = 8  # debounce 1, mode 1, first deadline 3, hold 1, least time off 2
PUMP_AFTER = 7  # debounce 1, mode 1, first deadline 3, hold 1, off delay 1; prime 1 is over then
OFF_AFTER = 3  # debounce 1, mode 1, and one


@dataclass(frozen=True, slots=True)
class Requirement:
    """What has to hold, in words."""

    name: str
    words: str


REQUIREMENTS = (
    Requirement("FAN-ON", f"key on and no valid warmth for {FAN_AFTER} ticks: fan on"),
    Requirement("PUMP-OFF", f"key on and no turning engine for {PUMP_AFTER} ticks: pump off"),
    Requirement("ALL-OFF", f"key off for {OFF_AFTER} ticks: fan and pump off"),
)


@dataclass(slots=True)
class Broken:
    """A state in which a requirement does not hold, and the shortest way there."""

    requirement: str
    way: list[str]


@dataclass(slots=True)
class Explored:
    """What was found. `checked` images of known states were given every letter again."""

    letters: int
    states: int = 0
    transitions: int = 0
    images: int = 0
    depth: int = 0
    checked: int = 0
    different: int = 0
    held: dict[str, int] = field(default_factory=dict)
    broken: list[Broken] = field(default_factory=list)

    def facts(self) -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "pairing": PAIRING.name,
            "letters": [one.words for one in LETTERS],
            "states": self.states,
            "transitions": self.transitions,
            "images": self.images,
            "longest_shortest_way": self.depth,
            "checked_again": self.checked,
            "different": self.different,
            "requirements": {one.name: one.words for one in REQUIREMENTS},
            "applied": self.held,
            "broken": [{"requirement": one.requirement, "way": one.way} for one in self.broken],
        }


class Explorer:
    """One engine that is put into state after state."""

    def __init__(self, spec: BridgeSpec) -> None:
        """Start with the engine after power-on."""
        self.bridge = Bridge(spec)
        self.start = self.bridge.image()
        places = [(path, kind) for path, kind, _ in self.bridge.dump()]
        self.clipped = [kind.overflow is Overflow.SATURATE for _, kind in places]
        self.left_out = [path.rpartition(".")[2] in ONLY_TOLD for path, _ in places]
        paths = [path for path, _ in places]
        self.cycle = paths.index("power.cycle")
        self.pump_cycle = paths.index("function.pump.cycle")
        self.values = [path.endswith(".value") or path == "clockwork.supply_mv" for path in paths]

    def key(self) -> Key:
        """Return the state the engine is in, without what cannot matter."""
        values = [value for _, _, value in self.bridge.dump()]
        values[self.pump_cycle] = int(values[self.pump_cycle] != values[self.cycle])
        values[self.cycle] = 0
        return tuple(
            0 if out else min(value, LONGEST) if clip and not as_is else value
            for value, clip, out, as_is in zip(
                values, self.clipped, self.left_out, self.values, strict=True
            )
        )

    def step(self, image: bytes, letter: Letter) -> tuple[bytes, Outputs]:
        """Run one tick from a state; return the image after it and what it did."""
        bridge = self.bridge
        bridge.restore(image)
        if letter.restart:
            bridge.reset(ResetCause.WATCHDOG, bridge.kept())
        if letter.payload is not None:
            bridge.receive(Frame(Bus.ENGINE, False, IDENTIFIER, bytes((letter.payload,))))
        outputs = bridge.tick(Inputs((letter.key_on,)))
        return bridge.image(), outputs


def explore(spec: BridgeSpec | None = None, most_broken: int = 3) -> Explored:
    """Visit every state; stop early only when `most_broken` broken ones were found."""
    explorer = Explorer(load(PAIRING).spec if spec is None else spec)
    found = Explored(len(LETTERS), held={one.name: 0 for one in REQUIREMENTS})
    explorer.bridge.restore(explorer.start)
    first = (explorer.key(), History())
    images: dict[Key, bytes] = {first[0]: explorer.start}
    came: dict[tuple[Key, History], tuple[tuple[Key, History], str] | None] = {first: None}
    depth = {first: 0}
    steps: dict[tuple[Key, int], tuple[Key, Outputs]] = {}
    queue = deque([first])
    while queue and len(found.broken) < most_broken:
        place = queue.popleft()
        key, history = place
        for number, letter in enumerate(LETTERS):
            known = steps.get((key, number))
            if known is None:
                image, outputs = explorer.step(images[key], letter)
                after = explorer.key()
                known = steps[key, number] = (after, outputs)
                if after not in images:
                    images[after] = image
                elif image != images[after] and found.checked < CHECKED_AGAIN:
                    found.checked += 1
                    found.different += _differ(explorer, image, images[after])
            after, outputs = known
            told = _count(history, letter)
            found.transitions += 1
            here = (after, told)
            is_new = here not in came
            if is_new:
                came[here] = (place, letter.words)
                depth[here] = depth[place] + 1
                queue.append(here)
            for name, holds in _judge(told, outputs):
                found.held[name] += 1
                if not holds and len(found.broken) < most_broken:
                    way = [*_way(came, place), letter.words]
                    found.broken.append(Broken(name, way))
    found.states, found.images = len(came), len(images)
    found.depth = max(depth.values())
    return found


def _count(history: History, letter: Letter) -> History:
    """Return the history after a tick."""
    if letter.restart:
        history = History()
    payload = letter.payload
    told_warmth = payload is not None and payload & WARMTH != NO_WARMTH
    told_turning = payload is not None and payload & TURNING
    return History(
        min(history.key_on + 1, MOST) if letter.key_on else 0,
        0 if letter.key_on else min(history.key_off + 1, MOST),
        0 if told_warmth else min(history.no_warmth + 1, MOST),
        0 if told_turning else min(history.standing + 1, MOST),
    )


def _judge(history: History, outputs: Outputs) -> list[tuple[str, bool]]:
    """Return the requirements that speak of this tick, and whether each holds."""
    fan, pump = outputs.levels
    told: list[tuple[str, bool]] = []
    if history.key_on >= FAN_AFTER <= history.no_warmth:
        told.append(("FAN-ON", fan))
    if history.key_on >= PUMP_AFTER <= history.standing:
        told.append(("PUMP-OFF", not pump))
    if history.key_off >= OFF_AFTER:
        told.append(("ALL-OFF", not fan and not pump))
    return told


def _differ(explorer: Explorer, one: bytes, other: bytes) -> int:
    """Return for how many letters two images of one state do not do the same."""
    count = 0
    for letter in LETTERS:
        _, first = explorer.step(one, letter)
        first_key = explorer.key()
        _, second = explorer.step(other, letter)
        count += (first, first_key) != (second, explorer.key())
    return count


def _way(
    came: dict[tuple[Key, History], tuple[tuple[Key, History], str] | None],
    place: tuple[Key, History],
) -> list[str]:
    """Return the letters from power-on to a state."""
    words: list[str] = []
    before = came[place]
    while before is not None:
        words.append(before[1])
        before = came[before[0]]
    return words[::-1]


def words(found: Explored) -> list[str]:
    """Return what was found, as people read it."""
    out = [
        (
            f"{PAIRING.name}: {found.states} states ({found.images} of the engine), "
            f"{found.transitions} transitions, {found.letters} letters; the farthest state is "
            f"{found.depth} ticks from power-on"
        ),
        (
            f"{found.checked} other images of known states were given every letter again: "
            f"{found.different} did otherwise"
        ),
    ]
    broken = {one.requirement for one in found.broken}
    for one in REQUIREMENTS:
        verdict = "BROKEN" if one.name in broken else "holds"
        out.append(
            f"{one.name} {verdict} in {found.held[one.name]} ticks it speaks of: {one.words}"
        )
    for way in found.broken:
        out.append(f"{way.requirement} is broken after: {'; '.join(way.way)}")
    return out
