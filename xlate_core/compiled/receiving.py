"""Receive functions as text: one a message, for frames that come as they should.

A receive function takes a frame and returns None when all of it is done, or True when the frame is
out of the ordinary (say, of a unit that is not fresh): then it has changed nothing and the readable
engine takes the frame. A rejected frame (short, wrong checksum or counter)
is judged by the readable engine's rules and counted, without handing over; where a fault judges the
message frame by frame, the next control tick looks at it.

A native text makes a number of the payload and hands it to a second function, `take`, which is also
called without a frame (`spans.py`); there `z` is that number, and `y` says that it came.

Names in the text, by index: `q` quantity record, `a` tick of arrival of a unit, `z` payload a unit
came with last, `w` its chunks, `h` whether a unit is in its ordinary state, `r` counter reference,
`g` good frames since the last control tick, `lo` and `hi` the values of a quantity between which
nobody needs to be woken as long as it has status `st` and origin `og`, `d` open packs of a sent
message, `moved` functions whose input changed.
"""

from functools import partial
from struct import Struct

from xlate_core.compiled import native
from xlate_core.compiled.checksums import wrong_text
from xlate_core.compiled.chunks import Chunk, calls_for, chunks_for, unpack_lines
from xlate_core.compiled.followers import Followers, mark_lines, mark_names
from xlate_core.compiled.scaling import decoding, in_ranges, plain_ranges
from xlate_core.compiled.text import Text
from xlate_core.interface import BridgeSpec
from xlate_core.protection import NO_REFERENCE, CounterSpec, checksum_good
from xlate_core.reception import MessageSpec, UnitSpec
from xlate_core.signals import SignalSpec


def is_suited(spec: BridgeSpec, message: MessageSpec, native: bool = False) -> bool:
    """Return whether a message gets a receive function; the others take the readable way."""
    if message.routes or not message.units:
        return False
    return _chunks(spec, message, native) is not None


def _signals(spec: BridgeSpec, message: MessageSpec) -> list[SignalSpec]:
    """Return every signal that has to be read out of a message."""
    found = [
        signal
        for unit in message.units
        for source in spec.units[unit].sources
        if (signal := spec.sources[source].signal) is not None
    ]
    if message.counter is not None:
        found.append(message.counter.signal)
    if message.selector is not None:
        found.append(message.selector)
    return found


def _chunks(spec: BridgeSpec, message: MessageSpec, native: bool) -> list[Chunk] | None:
    return chunks_for(_signals(spec, message), message.length, native)


class Reading:
    """The chunks of one message, and the name each has in the text."""

    def __init__(self, spec: BridgeSpec, message: MessageSpec, native: bool = False) -> None:
        """Cut the message up; it is a suited one."""
        self.chunks = _chunks(spec, message, native) or []
        self._length = message.length

    def place(self, signal: SignalSpec) -> tuple[int, int]:
        """Return the number of the chunk that holds a signal, and the shift inside it."""
        first = min(bit // 8 for bit in signal.bits)
        for number, chunk in enumerate(self.chunks):
            if chunk.first <= first < chunk.end:
                return number, chunk.shift(signal)
        raise AssertionError(signal.name)  # chunks_for has looked at every signal

    def unpack(self, text: Text, number: int, names: list[str]) -> None:
        """Add what gives each chunk, by its name, its number out of `data`."""
        if text.native:
            text.add(*native.read_lines(names, self.chunks))
            return
        for order, call in enumerate(calls_for(self.chunks, self._length)):
            unpack = text.bind(f"unpack_{number}_{order}", Struct(call.layout).unpack)
            own = [names[self.chunks.index(chunk)] for chunk in call.chunks]
            text.add(*unpack_lines(own, call, unpack))

    def field(self, signal: SignalSpec) -> str:
        """Return the text of a signal's bits."""
        number, shift = self.place(signal)
        if signal.length == 8 * self.chunks[number].size:
            return f"c{number}"
        shifted = f"c{number} >> {shift}" if shift else f"c{number}"
        if shift + signal.length == 8 * self.chunks[number].size:
            return f"({shifted})"
        return f"({shifted} & {signal.mask})"


def receive_function(
    text: Text, spec: BridgeSpec, number: int, followers: Followers, judged: bool
) -> None:
    """Add the receive function of one suited message, in a native text also its `take`."""
    message = spec.messages[number]
    taking = _Taking(text, spec, number, followers, judged)
    with text.block(f"def receive_{number}(frame: Frame) -> bool | None:"):
        text.nonlocals(taking.changed_names())
        bus, extended, _ = message.key
        wrong_bus = "frame[0]" if bus == 0 else "not frame[0]"
        with text.block(f"if {wrong_bus} or {'not ' if extended else ''}frame[1]:"):
            text.add("return stranger(frame)")
        text.add("data = frame[3]")
        with text.block(f"if len(data) != {message.length}:"):
            left = _rejection(message, number, judged, "data", "return None")
            _other_length(text, message, number, left)
        if text.native:
            text.add(f"return take_{number}({native.word_of_octets(message.length)})")
        else:
            taking.write("data", "return None")
    if text.native:
        with text.block(f"def take_{number}(word: i64) -> bool:"):
            text.nonlocals(taking.changed_names())
            taking.write("word", "return False")


class _Taking:
    """What a payload of the right length does: the text of one message."""

    def __init__(
        self, text: Text, spec: BridgeSpec, number: int, followers: Followers, judged: bool
    ) -> None:
        self.text, self.spec, self.number = text, spec, number
        self.followers, self.judged = followers, judged
        self.message = spec.messages[number]
        self.units = [(index, spec.units[index]) for index in self.message.units]
        self.reading = Reading(spec, self.message, text.native)

    def changed_names(self) -> list[str]:
        """Return the names it changes."""
        names = [f"r{self.number}"] if self.message.counter is not None else []
        names += [f"g{self.number}"] if self.judged else []
        for index, unit in self.units:
            names += [f"a{index}", f"z{index}"] + ([f"y{index}"] if self.text.native else [])
            for source in unit.sources:
                one = self.spec.sources[source]
                if one.signal is None:
                    continue
                if not one.watched:
                    names.append(f"w{index}_{self.reading.place(one.signal)[0]}")
                if self.spec.quantities[one.quantity].sources[0] == source:
                    names += mark_names(self.followers, one.quantity)
        return names

    def write(self, payload: str, done: str) -> None:
        """Add the lines; `payload` is the name it comes by, `done` the line that ends them."""
        text, number, message, reading = self.text, self.number, self.message, self.reading
        octets = native.octets_of_word(message.length) if text.native else payload
        left = _rejection(message, number, self.judged, octets, done)
        if _may_repeat(self.spec, message):  # nothing but the ages moves
            first = self.units[0][0]
            alike = f"{payload} == z{first}"
            with text.block(f"if y{first} and {alike}:" if text.native else f"if {alike}:"):
                text.add(*[f"a{index} = now" for index, _ in self.units])
                text.add(*([f"g{number} += 1"] if self.judged else []), done)
        reading.unpack(text, number, [f"c{index}" for index in range(len(reading.chunks))])
        if message.checksum is not None:
            wrong = wrong_text(text, f"check_{number}", message.checksum, message.length)
            with text.block(f"if {wrong}:"):
                text.add(*left)
        if message.selector is not None:
            _choose(text, reading, message.selector, self.units)
        if message.counter is not None:
            _follow_counter(text, number, reading, message.counter, left)
        if self.judged:
            text.add(f"g{number} += 1")
        if any(unit.selectors for _, unit in self.units):
            with text.block("if unknown:"):
                text.add(f"unknown_selector({number})")
        for index, unit in self.units:
            if unit.selectors:
                with text.block(f"if {_selected(unit)}:"):
                    _take_unit(text, self.spec, reading, index, self.followers)
            else:
                _take_unit(text, self.spec, reading, index, self.followers)
        text.add(done)


def _rejection(
    message: MessageSpec, number: int, judged: bool, payload: str, done: str
) -> list[str]:
    """Return the lines for a frame that is rejected; nothing else has been done with it."""
    if message.counter is not None and message.counter.signal.maximum >= NO_REFERENCE:
        return ["return True"]  # its counter might be taken for no reference
    lines = [f"reject({number}, {payload})"]
    if message.counter is not None:
        lines = [f"m{number}.reference = r{number}", *lines, f"r{number} = m{number}.reference"]
    if judged:
        lines.append("sleepers.wake_control(controls)")
    return [*lines, done]


def _other_length(text: Text, message: MessageSpec, number: int, left: list[str]) -> None:
    """Add what is done with a frame of another length; `left` are the lines for a rejected one."""
    with text.block(f"if len(data) < {message.length}:"):
        text.add(*(["return True"] if message.allow_short else left))
    if message.checksum is None:
        text.add(f"data = data[:{message.length}]")  # nobody looks at what is behind
        return
    good = text.bind(f"good_{number}", partial(checksum_good, message.checksum))
    with text.block(f"if {good}(data):"):
        text.add("return True")
    text.add(*left)


def _may_repeat(spec: BridgeSpec, message: MessageSpec) -> bool:
    """Return whether a frame like the last one says nothing new: no counter, all units at once."""
    return (
        message.counter is None
        and message.selector is None
        and not any(
            spec.sources[source].watched
            for unit in message.units
            for source in spec.units[unit].sources
        )
    )


def _selected(unit: UnitSpec) -> str:
    return " or ".join(
        f"selector == {low}" if low == high else f"{low} <= selector <= {high}"
        for low, high in unit.selectors
    )


def _choose(
    text: Text, reading: Reading, selector: SignalSpec, units: list[tuple[int, UnitSpec]]
) -> None:
    """Add what reads the selector and whether it is unknown; a unit in no ordinary state is left.

    Nothing has changed yet: the counter may still be wrong.
    """
    bits = reading.field(selector)
    text.add(f"selector = {bits}")
    if selector.signed:
        with text.block(f"if selector > {selector.mask >> 1}:"):
            text.add(f"selector -= {selector.mask + 1}")
    paths = [(index, unit) for index, unit in units if unit.selectors]
    if paths:
        known = " or ".join(f"({_selected(unit)})" for _, unit in paths)
        text.add(f"unknown = not ({known})")
        for index, unit in paths:
            with text.block(f"if not h{index} and ({_selected(unit)}):"):
                text.add("return True")
    for index, unit in units:
        if not unit.selectors:
            with text.block(f"if not h{index}:"):
                text.add("return True")


def _follow_counter(
    text: Text, number: int, reading: Reading, counter: CounterSpec, left: list[str]
) -> None:
    """Add the counter's check; `left` are the lines for a wrong one."""
    text.add(f"counter = {reading.field(counter.signal)}")
    follows = f"(counter - r{number}) % {counter.modulo}"
    good = f"{follows} == 1" if counter.max_step == 1 else f"1 <= {follows} <= {counter.max_step}"
    beyond = counter.signal.maximum >= counter.modulo
    wrong = f"not {good}" if counter.max_step > 1 else f"{follows} != 1"
    with text.block(f"if {f'counter >= {counter.modulo} or ' if beyond else ''}{wrong}:"):
        text.add(*left)
    text.add(f"r{number} = counter")


def _take_unit(
    text: Text, spec: BridgeSpec, reading: Reading, index: int, followers: Followers
) -> None:
    """Add what the arrival of one unit does: its age, and the signals that changed."""
    text.add(f"a{index} = now", f"z{index} = {'word' if text.native else 'data'}")
    if text.native:
        text.add(f"y{index} = True")
    by_chunk: dict[int, list[int]] = {}
    for source in spec.units[index].sources:
        one = spec.sources[source]
        if one.signal is None:
            continue
        if one.watched:  # every reception counts, not only one with a new raw value
            text.add(f"look({source}, {reading.field(one.signal)})")
        else:
            by_chunk.setdefault(reading.place(one.signal)[0], []).append(source)
    for chunk, sources in by_chunk.items():
        name = f"w{index}_{chunk}"
        signals = [spec.sources[source].signal for source in sources]
        size = 8 * reading.chunks[chunk].size
        whole = len(signals) == 1 and signals[0] is not None and signals[0].length == size
        with text.block(f"if c{chunk} != {name}:"):
            if whole:  # one signal fills the chunk: its former bits are the chunk's
                _signal_moved(text, spec, reading, sources[0], followers, name)
                text.add(f"{name} = c{chunk}")
                continue
            text.add(f"x = c{chunk} ^ {name}", f"{name} = c{chunk}")
            for source in sources:
                signal = spec.sources[source].signal
                if signal is None:
                    continue
                mask = signal.mask << reading.place(signal)[1]
                with text.block(f"if x & {mask}:"):
                    _signal_moved(text, spec, reading, source, followers)


def _signal_moved(
    text: Text,
    spec: BridgeSpec,
    reading: Reading,
    source: int,
    followers: Followers,
    former: str = "",
) -> None:
    """Add what a new raw value does: its quantity takes it at once, or it is looked at closely.

    At once means: the quantity shows this source, its first, and nothing is held or returning. All
    other cases are worked out by the readable functions, in the quantities phase.
    """
    one = spec.sources[source]
    signal = one.signal
    if signal is None:
        raise AssertionError(one.name)
    quantity = spec.quantities[one.quantity]
    chunk, shift = reading.place(signal)
    bits = reading.field(signal)
    before = former or f"(c{chunk} ^ x) >> {shift} & {signal.mask}"
    look = f"look_again({source}, {bits}, {before})"
    q = f"q{one.quantity}"
    ranges = plain_ranges(one, signal)
    if not ranges:
        text.add(look)
        return
    second = quantity.sources[0] != source
    asked = in_ranges("v", ranges, signal)
    if asked is not None and " or " in asked:
        asked = f"({asked})"
    if second and asked is None:
        with text.block(f"if {q}.origin:"):
            text.add(look)
        return
    text.add(f"v = {bits}")
    if signal.signed:
        with text.block(f"if v > {signal.mask >> 1}:"):
            text.add(f"v -= {signal.mask + 1}")
    if second:  # nobody sees it, unless the first source is gone or the value is none
        with text.block(f"if {q}.origin or not ({asked}):"):
            text.add(look)
        return
    ordinary = [asked] if asked is not None else []
    ordinary.append(f"not {q}.origin")
    if quantity.return_rate:
        ordinary.append(f"not {q}.returning")
    with text.block(f"if {' and '.join(ordinary)}:"):
        lines = decoding(one, ranges, "v", "v")
        text.add(*[line for line in lines if line != "v = v"])
        text.add(f"{q}.value = v")
        text.add(*mark_lines(followers, one.quantity))
        with text.block(f"if not lo{one.quantity} <= v <= hi{one.quantity}:"):
            text.add(f"woken.append({one.quantity})")
    with text.block("else:"):
        text.add(look)
