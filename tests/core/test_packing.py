"""Packing a sent message: whatever order values change in, the payload is the same (rule 12)."""

import random

import pytest

from tests.layouts import random_layout, random_raw
from xlate_core.frames import Bus, FrameKey
from xlate_core.quantities import (
    ORIGIN_NOT_AVAILABLE,
    ORIGIN_PRODUCED,
    ORIGIN_SUBSTITUTE,
    VALID,
    QuantityState,
    QuantityStore,
    Status,
)
from xlate_core.reception import NO_CONDITION
from xlate_core.signals import ByteOrder, SignalSpec, insert
from xlate_core.transmission import (
    OnLoss,
    PackSpec,
    TransmitSpec,
    TransmitState,
    clear_slot,
    encode,
    pack,
)


def message(packs: list[PackSpec], base: bytes, on_loss: OnLoss) -> TransmitSpec:
    return TransmitSpec(
        name="message",
        key=FrameKey(Bus.BODY, False, 0x123),
        base=base,
        packs=tuple(packs),
        period=10,
        offset=0,
        on_change=False,
        min_gap=0,
        condition=NO_CONDITION,
        on_loss=on_loss,
        loss_of=(),
        counter=None,
        checksum=None,
    )


def as_it_is(number: int, signal: SignalSpec, code: int | None = None) -> PackSpec:
    return PackSpec(number, signal, 1, 0, 1, signal.minimum, signal.maximum, code)


@pytest.mark.parametrize("byte_order", [None, *ByteOrder])
def test_the_payload_is_every_signal_put_into_the_base(byte_order: ByteOrder | None) -> None:
    rng = random.Random(f"packing {byte_order}")
    for _ in range(300):
        octets = rng.randint(1, 8)
        layout = random_layout(rng, octets, byte_order)
        packs = [as_it_is(number, signal) for number, signal in enumerate(layout)]
        base = rng.choice((bytes(octets), b"\xff" * octets, rng.randbytes(octets)))
        spec = message(packs, base, OnLoss.SUBSTITUTE)
        slot = TransmitState()
        clear_slot(spec, slot)
        states = [QuantityState(random_raw(rng, one), VALID, ORIGIN_PRODUCED) for one in layout]
        store = QuantityStore((), states)
        for _ in range(4):
            pack(spec, slot, store)
            expected = base
            for signal, state in zip(layout, states, strict=True):
                expected = insert(signal, expected, state.value)
            assert slot.payload == expected, (layout, base.hex())
            assert not slot.open
            changing = rng.sample(range(len(layout)), rng.randint(0, len(layout)))
            for number in changing:
                states[number].value = random_raw(rng, layout[number])
            slot.open.update(changing)


PLACE = SignalSpec("Value", 0, 8, ByteOrder.INTEL, False)


@pytest.mark.parametrize(
    ("origin", "on_loss", "code", "octet"),
    [
        (ORIGIN_PRODUCED, OnLoss.SUBSTITUTE, 0xFF, 7),
        (ORIGIN_PRODUCED, OnLoss.NOT_AVAILABLE, 0xFF, 7),
        (ORIGIN_SUBSTITUTE, OnLoss.SUBSTITUTE, 0xFF, 7),
        (ORIGIN_SUBSTITUTE, OnLoss.NOT_AVAILABLE, 0xFF, 0xFF),
        (ORIGIN_SUBSTITUTE, OnLoss.NOT_AVAILABLE, None, 7),
        (ORIGIN_NOT_AVAILABLE, OnLoss.SUBSTITUTE, 0xFF, 0xFF),
        (ORIGIN_NOT_AVAILABLE, OnLoss.NOT_AVAILABLE, 0xFF, 0xFF),
        (ORIGIN_NOT_AVAILABLE, OnLoss.SUBSTITUTE, None, 7),
    ],
)
def test_when_the_code_for_not_available_is_said(
    origin: int, on_loss: OnLoss, code: int | None, octet: int
) -> None:
    spec = message([as_it_is(0, PLACE, code)], b"\x00", on_loss)
    slot = TransmitState()
    clear_slot(spec, slot)
    status = VALID if origin == ORIGIN_PRODUCED else int(Status.STALE)
    pack(spec, slot, QuantityStore((), [QuantityState(7, status, origin)]))
    assert slot.payload == bytes((octet,))


@pytest.mark.parametrize(
    ("value", "raw"),
    [
        (-(2**31), 10),
        (-1000, 10),
        (18, 10),
        (19, 10),
        (20, 10),
        (21, 11),
        (23, 12),
        (497, 249),
        (499, 250),
        (500, 250),
        (501, 250),
        (2**31 - 1, 250),
    ],
)
def test_encoding_rounds_then_saturates_to_the_valid_range(value: int, raw: int) -> None:
    # Half a step a unit; 251..255 are special codes, 0..9 are not used.
    assert encode(PackSpec(0, PLACE, 1, 0, 2, 10, 250, 0xFF), value) == raw
