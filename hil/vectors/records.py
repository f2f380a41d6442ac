"""The records of a vector: one tick to one line and back.

Reading is made for long vectors: each frame's text is looked up in a table, and a tick's expected
frames are compared as they are, never rendered again.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

from hil.boards.interface import RESET_CAUSES, Stimulus
from hil.vectors.errors import VectorError, at_line
from hil.vectors.vector import Vector
from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.buses import BusInput
from xlate_core.frames import Bus, Frame, data_length, show_identifier
from xlate_core.pairing.model import Pairing

BUS_LETTERS = {"b": Bus.BODY.value, "e": Bus.ENGINE.value}
LETTER_OF_BUS = ("b", "e")
SILENT: tuple[tuple[Frame, ...], tuple[Frame, ...]] = ((), ())
Head = tuple[int, bool, int]
MAX_TABLE = 1024  # frames remembered by their text, then the table starts anew; more is slower
MAX_HEADS = 4096
make = tuple.__new__  # a named tuple of all its fields, without a call in between
STANDARD_HEAD = len("e:1A0:")
EXTENDED_HEAD = len("e:00000000:")
INITIAL_SUPPLY_MV = 12000


class Record(NamedTuple):
    """One tick of a vector. `codes` are the raw length codes above 8 by place in `frames`.

    `inputs` is the same object while nothing changed; `rest` is everything of Outputs but frames.
    """

    tick: int
    reset: tuple[ResetCause, bool] | None
    inputs: Inputs
    frames: tuple[Frame, ...]
    codes: tuple[tuple[int, int], ...]
    expected: tuple[tuple[Frame, ...], tuple[Frame, ...]]
    rest: tuple[object, ...]
    digest: int | None
    stream: str | None


def show_frame(frame: Frame, length_code: int = 0) -> str:
    """Return a frame as vectors write it."""
    bus, extended, identifier, data = frame
    text = f"{_shown_head(bus, extended, identifier)}{data.hex()}"
    return f"{text}:{length_code}" if length_code > len(data) else text


@lru_cache(MAX_HEADS)
def _shown_head(bus: int, extended: bool, identifier: int) -> str:
    return f"{LETTER_OF_BUS[bus]}:{show_identifier(identifier, extended)}:"


def read_frame(text: str) -> tuple[Frame, int]:
    """Return the frame of a text and its raw length code; ValueError when it is none."""
    parts = text.split(":")
    if not 3 <= len(parts) <= 4 or parts[0] not in BUS_LETTERS or len(parts[1]) not in (3, 8):
        raise ValueError(text)
    data = bytes.fromhex(parts[2])
    code = int(parts[3]) if len(parts) == 4 else len(data)
    if len(data) > 8 or data_length(code) != len(data):
        raise ValueError(text)
    return Frame(BUS_LETTERS[parts[0]], len(parts[1]) == 8, int(parts[1], 16), data), code


class Shown(dict[Stimulus | Frame, str]):
    """The texts of frames as vectors write them; what was shown before is looked up."""

    def __missing__(self, one: Stimulus | Frame) -> str:
        """Return the text of a frame that was not shown before, and remember it."""
        if len(self) >= MAX_TABLE:
            self.clear()
        text = show_frame(*one) if isinstance(one, Stimulus) else show_frame(one)
        self[one] = text
        return text


class Writer:
    """Makes the records of a vector; remembers what was written last to write changes only."""

    def __init__(self, pairing: Pairing) -> None:
        """Start at what every vector starts with."""
        self.inputs = initial(pairing)
        self.outputs: tuple[object, ...] | None = None
        self._show = Shown().__getitem__

    def record(
        self,
        tick: int,
        reset: tuple[ResetCause, bool] | None,
        inputs: Inputs,
        stimuli: tuple[Stimulus, ...],
        outputs: Outputs,
        digest: int | None,
    ) -> str | None:
        """Return the line of a tick, or None when nothing happened in it."""
        changes = arrived = to_body = to_engine = ""
        rest = outputs[1:]
        moved = inputs is not self.inputs or rest != self.outputs
        if moved or reset is not None or digest is not None:
            changes = self._changes(reset, inputs, outputs, digest)
        body, engine = outputs.frames
        show = self._show
        if stimuli:  # mostly one alone, which needs no join
            arrived = show(stimuli[0]) if len(stimuli) == 1 else " ".join(map(show, stimuli))
        if body:
            to_body = show(body[0]) if len(body) == 1 else " ".join(map(show, body))
        if engine:
            to_engine = show(engine[0]) if len(engine) == 1 else " ".join(map(show, engine))
        if changes:
            return f"{tick}|{arrived}|{to_body}|{to_engine}|{changes}"
        if to_engine:
            return f"{tick}|{arrived}|{to_body}|{to_engine}"
        if to_body:
            return f"{tick}|{arrived}|{to_body}"
        return f"{tick}|{arrived}" if arrived else None

    def _changes(
        self,
        reset: tuple[ResetCause, bool] | None,
        inputs: Inputs,
        outputs: Outputs,
        digest: int | None,
    ) -> str:
        """Return the last field of a record: what changed besides frames, and the digest."""
        changes: list[str] = []
        if reset is not None:
            cause, keep = reset
            changes.append(f"r={cause.name.lower()},{'kept' if keep else 'forgotten'}")
        if inputs is not self.inputs:
            changes += input_changes(self.inputs, inputs)
            self.inputs = inputs
        if outputs[1:] != self.outputs:
            changes += output_changes(self.outputs, outputs)
            self.outputs = outputs[1:]
        if digest is not None:
            changes.append(f"d={digest:08X}")
        return " ".join(changes)


def initial(pairing: Pairing) -> Inputs:
    """Return the inputs every vector starts with: all pins low, no counts, 12000 mV."""
    pins = pairing.spec.pins
    return Inputs(
        levels=(False,) * len(pins.levels),
        counts=(0,) * len(pins.analogues),
        supply_mv=INITIAL_SUPPLY_MV,
    )


def input_changes(old: Inputs, new: Inputs) -> list[str]:
    """Return what changed at the inputs."""
    changes = [
        f"p{index}={int(level)}"
        for index, level in enumerate(new.levels)
        if level != old.levels[index]
    ]
    changes += [
        f"a{index}={count}" for index, count in enumerate(new.counts) if count != old.counts[index]
    ]
    if new.supply_mv != old.supply_mv:
        changes.append(f"s={new.supply_mv}")
    changes += [
        f"b{index}={','.join(str(int(number)) for number in given)}"
        for index, given in enumerate(new.buses)
        if given != old.buses[index]
    ]
    return changes


def output_changes(old: tuple[object, ...] | None, new: Outputs) -> list[str]:
    """Return what changed at the outputs; everything when there is no old state."""
    before = None if old is None else Outputs(SILENT, *old)  # type: ignore[arg-type]
    changes = []
    for letter, name in (("C", "commands"), ("P", "levels"), ("D", "duty"), ("F", "frequency")):
        values = getattr(new, name)
        former = None if before is None else getattr(before, name)
        for index, value in enumerate(values):
            if former is None or former[index] != value:
                changes.append(f"{letter}{index}={int(value)}")
    if before is None or before.power_hold != new.power_hold:
        changes.append(f"H={int(new.power_hold)}")
    return changes


class Reader:
    """Reads the records of a vector one by one."""

    def __init__(self, vector: Vector, pairing: Pairing) -> None:
        """Start at what every vector starts with."""
        self.vector = vector
        self.inputs = initial(pairing)
        pins = pairing.spec.pins
        kinds = [pin.kind for pin in pins.outputs]
        self.outputs: dict[str, list[int]] = {
            "C": [0, 0],
            "P": [0] * kinds.count(0),  # type: ignore[arg-type]
            "D": [0] * kinds.count(1),  # type: ignore[arg-type]
            "F": [0] * kinds.count(2),  # type: ignore[arg-type]
            "H": [0],
        }
        self.rest: tuple[object, ...] = ()

    def records(self) -> Iterator[Record]:
        """Yield the records; raises VectorError with the line of one that is none."""
        table: dict[str, Frame] = {}
        heads: dict[str, Head] = {}
        find = table.get
        line = self.vector.first_line - 1
        last_tick = -1
        ticks = self.vector.header.ticks
        for text in self.vector.lines():
            line += 1
            fields = text.rstrip("\n").split("|")
            count = len(fields)
            reset = digest = stream = None
            codes: tuple[tuple[int, int], ...] = ()
            frames: tuple[Frame, ...] = ()
            body: tuple[Frame, ...] = ()
            engine: tuple[Frame, ...] = ()
            try:
                tick = int(fields[0])
                if not last_tick < tick < ticks or not 1 < count <= 5:
                    raise ValueError(fields[0])
                last_tick = tick
                if len(table) > MAX_TABLE:
                    table.clear()
                if fields[1]:
                    if ":" not in fields[1]:
                        raise ValueError(fields[1])
                    tokens = fields[1].split(" ")
                    frames = tuple([find(token) or learn(table, heads, token) for token in tokens])
                    if fields[1].count(":") != 2 * len(tokens):
                        codes = length_codes(tokens)
                if count > 2:
                    if fields[2]:
                        body = tuple(
                            [
                                find(token) or learn(table, heads, token)
                                for token in fields[2].split(" ")
                            ]
                        )
                    if count > 3 and fields[3]:
                        engine = tuple(
                            [
                                find(token) or learn(table, heads, token)
                                for token in fields[3].split(" ")
                            ]
                        )
                    if count > 4:
                        reset, digest, stream = self.change(fields[4].split(" "))
            except (ValueError, IndexError, KeyError) as error:
                raise VectorError(
                    at_line(
                        self.vector.path,
                        line,
                        f"no record of a vector ({error}); expected "
                        "`TICK|FRAMES IN|TO BODY|TO ENGINE|CHANGES` with rising ticks",
                    )
                ) from None
            expected = (body, engine) if body or engine else SILENT
            yield Record(
                tick, reset, self.inputs, frames, codes, expected, self.rest, digest, stream
            )

    def change(
        self, words: list[str]
    ) -> tuple[tuple[ResetCause, bool] | None, int | None, str | None]:
        """Take over the changes of a record; return its reset, digest and stream hash."""
        reset = digest = stream = None
        pins_in = pins_out = False
        levels, counts = list(self.inputs.levels), list(self.inputs.counts)
        supply, buses = self.inputs.supply_mv, list(self.inputs.buses)
        for word in words:
            name, _, value = word.partition("=")
            kind, place = name[:1], name[1:]
            if name == "d":
                digest = int(value, 16)
            elif name == "x":
                stream = value
            elif name == "r":
                cause, _, memory = value.partition(",")
                reset = (RESET_CAUSES[cause], {"kept": True, "forgotten": False}[memory])
            elif name == "s":
                supply, pins_in = int(value), True
            elif kind == "b":
                buses[int(place)], pins_in = BusInput(*map(octet, value.split(","))), True
            elif kind == "p":
                levels[int(place)], pins_in = {"0": False, "1": True}[value], True
            elif kind == "a":
                counts[int(place)], pins_in = int(value), True
            else:
                self.outputs[kind][int(place or 0)] = int(value)
                pins_out = True
        if pins_in:
            self.inputs = self.inputs._replace(
                levels=tuple(levels),
                counts=tuple(counts),
                supply_mv=supply,
                buses=(buses[0], buses[1]),
            )
        if pins_out:
            out = self.outputs
            self.rest = (
                tuple(out["C"]),
                tuple(bool(level) for level in out["P"]),
                tuple(out["D"]),
                tuple(out["F"]),
                bool(out["H"][0]),
            )
        return reset, digest, stream


def octet(text: str) -> int:
    """Return a number 0..255; ValueError when it is none."""
    value = int(text)
    if not 0 <= value <= 0xFF:
        raise ValueError(text)
    return value


def learn(table: dict[str, Frame], heads: dict[str, Head], text: str) -> Frame:
    """Return the frame of a text that was not looked up before, and remember it.

    The part up to the second colon is remembered on its own: payloads change, identifiers do not.
    """
    cut = STANDARD_HEAD if text[STANDARD_HEAD - 1 : STANDARD_HEAD] == ":" else EXTENDED_HEAD
    octets = text[cut:]
    head = heads.get(text[:cut])
    if head is None or ":" in octets or len(octets) > 16:
        frame, _ = read_frame(text)
        if len(heads) < MAX_HEADS:
            heads[text[:cut]] = frame[:3]
    else:
        frame = make(Frame, (*head, bytes.fromhex(octets)))
    table[text] = frame
    return frame


def length_codes(tokens: list[str]) -> tuple[tuple[int, int], ...]:
    """Return place and value of raw length codes above 8."""
    return tuple(
        (place, int(token.rsplit(":", 1)[1]))
        for place, token in enumerate(tokens)
        if token.count(":") == 3
    )
