"""Send functions as text: one a message; each returns the frame that leaves in this tick.

Names in the text, by index of the message: `d` open packs as bits, `p` packs at their place,
`e` chunks of the payload before counter and checksum, `k` counter, `t` tick of the last hand-over,
`f` frame handed over last, `c` frames by counter while values stand still, `stopped`; for a message
sent on change also `now_is` and `was`, the payload before counter and checksum now and as last
handed over.
"""

from struct import Struct

from xlate_core.compiled import native
from xlate_core.compiled.checksums import checksum_text, is_native, native_text
from xlate_core.compiled.chunks import split_values
from xlate_core.compiled.layout import Layout
from xlate_core.compiled.scaling import encoding
from xlate_core.compiled.text import Text
from xlate_core.interface import BridgeSpec
from xlate_core.protection import OCTETS, ChecksumSpec, seal
from xlate_core.quantities import ORIGIN_HELD, ORIGIN_NOT_AVAILABLE, ORIGIN_PRODUCED
from xlate_core.transmission import OnLoss, PackSpec, TransmitSpec


def send_function(text: Text, spec: BridgeSpec, number: int, layout: Layout) -> None:
    """Add the send function of one message; an unsuited one is sent by the readable functions."""
    message = spec.transmits[number]
    text.bind(f"slot_spec_{number}", message)
    if message.on_change:
        _event_functions(text, spec, number, layout)
    elif not layout.suited:
        with text.block(f"def send_{number}() -> Frame | None:"):
            text.nonlocals([f"d{number}"])
            _stop(text, number, message)
            text.add(
                f"x{number}.open.update(bits_of(d{number}))",
                f"d{number} = 0",
                f"pack(slot_spec_{number}, x{number}, store)",
                f"return hand_over(slot_spec_{number}, x{number}, now)",
            )
    elif text.native:
        _word_function(text, spec, number, layout)
        _send_word(text, number, message)
    else:
        _send(text, spec, number, layout)


def has_word(message: TransmitSpec, layout: Layout) -> bool:
    """Return whether a native text has a function that makes the message's payload as a number."""
    return layout.suited and not message.on_change


def _send(text: Text, spec: BridgeSpec, number: int, layout: Layout) -> None:
    """Add the send function of a suited cyclic message."""
    message = layout.message
    with text.block(f"def send_{number}() -> Frame | None:"):
        names = [f"d{number}", f"t{number}", f"f{number}", *_pack_names(number, layout)]
        names += [f"c{number}"] if message.counter is not None else []
        text.nonlocals(names + ([f"k{number}"] if message.counter is not None else []))
        _stop(text, number, message)
        text.add(f"t{number} = now")
        _count(text, number, message)
        with text.block(f"if d{number}:"):
            _pack(text, spec, number, layout, blank=True)
            if message.counter is not None:
                text.add(f"c{number} = None")
        if message.counter is not None:
            with text.block(f"elif c{number} is None:"):
                text.add(f"c{number} = {{}}")
            with text.block("else:"):  # no value has moved: the counter may have come round
                text.add(f"frame = c{number}.get(k{number})")
                with text.block("if frame is not None:"):
                    text.add(f"f{number} = frame", "return frame")
        elif message.checksum is None:
            with text.block(f"elif f{number} is not None:"):
                text.add(f"return f{number}")
        _put_together(text, number, layout)
        text.add(f"f{number} = frame = {_frame(text, number, message, 'data')}")
        if message.counter is not None:
            with text.block(f"if c{number} is not None:"):
                text.add(f"c{number}[k{number}] = frame")
        text.add("return frame")


def _word_function(text: Text, spec: BridgeSpec, number: int, layout: Layout) -> None:
    """Add what makes a suited cyclic message's payload as a word, when it is handed over."""
    message = layout.message
    sealed = message.counter is not None or message.checksum is not None
    with text.block(f"def word_{number}() -> i64:"):
        names = [f"d{number}", f"t{number}", f"l{number}", f"s{number}", f"c{number}"]
        names += [f"k{number}"] if message.counter is not None else []
        text.nonlocals([*names, *_pack_names(number, layout)])
        text.declare("i64", "v")
        text.add(f"t{number} = now")
        _count(text, number, message)
        with text.block(f"if d{number}:"):
            _pack(text, spec, number, layout, blank=True)
            text.add(f"c{number} = None")
        if not sealed:
            with text.block(f"elif s{number}:"):
                text.add(f"return l{number}")
        _put_together(text, number, layout)
        text.add(f"l{number} = word", f"s{number} = True", "return word")


def _send_word(text: Text, number: int, message: TransmitSpec) -> None:
    """Add what makes a frame of the word; while values stand still by counter, the same again."""
    key = f"k{number}" if message.counter is not None else "0"
    with text.block(f"def send_{number}() -> Frame | None:"):
        text.nonlocals([f"c{number}"])
        _stop(text, number, message)
        text.declare("bool", "still", value=f"d{number} == 0")
        text.declare("i64", "word", value=f"word_{number}()")
        with text.block("if still:"):
            with text.block(f"if c{number} is None:"):
                text.add(f"c{number} = {{}}")
            with text.block("else:"):
                text.add(f"known = c{number}.get({key})")
                with text.block("if known is not None:"):
                    text.add("return known")
        text.add(
            f"frame = {_frame(text, number, message, native.octets_of_word(len(message.base)))}"
        )
        with text.block(f"if c{number} is not None:"):
            text.add(f"c{number}[{key}] = frame")
        text.add("return frame")


def _count(text: Text, number: int, message: TransmitSpec) -> None:
    """Add what moves the counter on, if there is one."""
    if message.counter is None:
        return
    text.add(f"k{number} += 1")
    with text.block(f"if k{number} >= {message.counter.modulo}:"):
        text.add(f"k{number} = 0")


def _frame(text: Text, number: int, message: TransmitSpec, payload: str) -> str:
    """Return the text that makes a frame of a payload; machine code would make the number anew."""
    bus, extended, identifier = message.key
    same = text.bind(f"identifier_{number}", identifier) if text.native else identifier
    return f"new(frame_type, ({int(bus)}, {extended}, {same}, {payload}))"


def _stop(text: Text, number: int, message: TransmitSpec) -> None:
    if message.on_loss is OnLoss.STOP:
        with text.block(f"if stopped{number}:"):
            text.add("return None")


def _event_functions(text: Text, spec: BridgeSpec, number: int, layout: Layout) -> None:
    """Add `pack_` (bring the payload up to date) and `send_` of a message sent on change."""
    message = spec.transmits[number]
    with text.block(f"def pack_{number}() -> bool:"):
        text.nonlocals([f"d{number}", f"now_is{number}"])
        if layout.suited and layout.own < 0 and layout.counter is None:
            text.nonlocals(_pack_names(number, layout))
            text.declare("i64", "v")
            with text.block(f"if d{number}:"):
                _pack(text, spec, number, layout, blank=False)
                _put_together(text, number, layout)
                payload = native.octets_of_word(layout.length) if text.native else "data"
                text.add(f"now_is{number} = {payload}")
        else:
            with text.block(f"if d{number}:"):
                text.add(
                    f"x{number}.open.update(bits_of(d{number}))",
                    f"d{number} = 0",
                    f"pack(slot_spec_{number}, x{number}, store)",
                    f"now_is{number} = x{number}.payload",
                )
        text.add(f"return now_is{number} != was{number}")
    with text.block(f"def send_{number}() -> Frame | None:"):
        text.nonlocals([f"was{number}", f"t{number}", f"f{number}"])
        if message.counter is not None:
            text.nonlocals([f"k{number}"])
        text.add(f"pack_{number}()")
        _stop(text, number, message)
        text.add(f"t{number} = now")
        if message.counter is None and message.checksum is None:
            with text.block(f"if now_is{number} == was{number} and f{number} is not None:"):
                text.add(f"return f{number}")
            text.add(f"data = was{number} = now_is{number}")
        else:
            text.bind("seal", seal)
            text.bind(f"counter_spec_{number}", message.counter)
            text.bind(f"checksum_spec_{number}", message.checksum)
            text.add(f"was{number} = now_is{number}")
            value = "0"
            if message.counter is not None:
                _count(text, number, message)
                value = f"k{number}"
            specs = f"counter_spec_{number}, checksum_spec_{number}"
            text.add(f"data = seal({specs}, now_is{number}, {value})")
        text.add(f"f{number} = frame = {_frame(text, number, message, 'data')}", "return frame")


def _pack_names(number: int, layout: Layout) -> list[str]:
    names = [f"p{number}_{index}" for index in range(len(layout.message.packs))]
    return names + [f"e{number}_{index}" for index in range(len(layout.chunks))]


def _pack(text: Text, spec: BridgeSpec, number: int, layout: Layout, blank: bool) -> None:
    """Add what puts the open packs into their chunks; the open bits are cleared."""
    message = layout.message
    by_chunk: dict[int, list[int]] = {}
    for index, pack in enumerate(message.packs):
        by_chunk.setdefault(layout.place(pack.signal)[0], []).append(index)
    for chunk, packs in by_chunk.items():
        mask = sum(1 << index for index in packs)
        everything = (1 << len(message.packs)) - 1
        head = f"if d{number} & {mask}:" if mask != everything else "if True:"
        with text.block(head):
            turned = layout.turned(layout.chunks[chunk])
            constant = layout.base(layout.chunks[chunk], blank)
            kept = constant or turned  # the packs are kept apart from their chunk
            for index in packs:
                _pack_one(text, spec, number, layout, index, len(packs) == 1, int(kept))
            if len(packs) == 1 and not kept:
                continue
            parts = [f"p{number}_{index}" for index in packs]
            parts += [str(constant)] if constant else []
            value = " | ".join(parts)
            size = layout.chunks[chunk].size
            if turned:
                text.bind("from_bytes", int.from_bytes)
                orders = ("little", "big") if layout.intel else ("big", "little")
                value = f"from_bytes(({value}).to_bytes({size}, {orders[1]!r}), {orders[0]!r})"
            text.add(f"e{number}_{chunk} = {value}")
    text.add(f"d{number} = 0")


def _pack_one(
    text: Text,
    spec: BridgeSpec,
    number: int,
    layout: Layout,
    index: int,
    alone: bool,
    constant: int,
) -> None:
    """Add what encodes one quantity, or says "not available" for it."""
    pack: PackSpec = layout.message.packs[index]
    quantity = spec.quantities[pack.quantity]
    q, shift = f"q{pack.quantity}", layout.place(pack.signal)[1]
    low, high = quantity.low, quantity.high
    if pack.quantity == spec.power.mode_quantity or not quantity.sources:
        # A produced quantity is saturated when published; its initial value may lie outside.
        low, high = min(low, quantity.initial), max(high, quantity.initial)
    for value in (quantity.initial, quantity.substitute):
        if value is not None:
            low, high = min(low, value), max(high, value)
    for source in quantity.sources:
        low, high = min(low, spec.sources[source].low), max(high, spec.sources[source].high)
    low, high = min(low, 0), max(high, 0)
    name = f"p{number}_{index}"
    if alone and not constant:  # the chunk holds nothing else
        name = f"e{number}_{layout.place(pack.signal)[0]}"

    def put(lines: list[str]) -> None:
        text.add(*[line for line in lines if line != "v = v"])
        text.add(f"{name} = v << {shift}" if shift else f"{name} = v")

    def encoded() -> None:
        text.add(f"v = {q}.value")
        put(encoding(pack, low, high, "v", "v"))

    def body() -> None:
        if pack.not_available is None:
            encoded()
            return
        if layout.message.on_loss is OnLoss.NOT_AVAILABLE:
            real = f"{q}.origin <= {ORIGIN_PRODUCED} or {q}.origin == {ORIGIN_HELD}"
        else:
            real = f"{q}.origin != {ORIGIN_NOT_AVAILABLE}"
        with text.block(f"if {real}:"):
            encoded()
        with text.block("else:"):
            code = (pack.not_available & pack.signal.mask) << shift
            text.add(f"{name} = {code}")

    if alone:
        body()
        return
    with text.block(f"if d{number} & {1 << index}:"):
        body()


def _native_seal(text: Text, number: int, spec: ChecksumSpec, length: int) -> str:
    """Return the text of the checksum of `word`, whose own octet is zero."""
    if is_native(spec):
        return native_text(text, f"seal_{number}", spec, native.octet_of_word)
    text.add(f"data = {native.octets_of_word(length)}")
    return f"i64({checksum_text(text, f'seal_{number}', spec, length)})"


def _put_together(text: Text, number: int, layout: Layout) -> None:
    """Add what makes `data`, or `word` in a native text, of the chunks: the checksum comes last."""
    message = layout.message
    packed = {layout.place(pack.signal)[0] for pack in message.packs}
    counted = layout.place(layout.counter) if layout.counter is not None else None
    values = []
    for index, chunk in enumerate(layout.chunks):
        constant = layout.base(chunk, blank=True)
        value = f"e{number}_{index}" if index in packed else str(constant)
        if counted is not None and counted[0] == index:
            turn = f"k{number} << {counted[1]}" if counted[1] else f"k{number}"
            value = turn if value == "0" else f"{value} | {turn}"
        values += (
            [native.placed(value, chunk)]
            if text.native
            else split_values(value, chunk, layout.intel)
        )
    behind = layout.own == layout.length - 1  # the checksum is put behind the other octets
    length = layout.length - 1 if behind else layout.length
    if text.native:
        text.declare("i64", "word", value=" | ".join(values) or "0")
        if message.checksum is not None:
            octet = _native_seal(text, number, message.checksum, layout.length)
            own = 8 * layout.own
            text.add(f"word |= {octet} << {own}" if own else f"word |= {octet}")
        return
    pack = text.bind(f"pack_into_{number}", Struct(layout.layout(length)).pack)
    text.add(f"data = {pack}({', '.join(values)})")
    if message.checksum is None:
        return
    text.bind("OCTETS", OCTETS)
    octet = checksum_text(text, f"seal_{number}", message.checksum, length)
    if behind:
        text.add(f"data = data + OCTETS[{octet}]")
    else:
        own = layout.own
        text.add(f"data = data[:{own}] + OCTETS[{octet}] + data[{own + 1}:]")
