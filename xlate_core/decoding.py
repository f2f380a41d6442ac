"""Decoding of one reception unit: from the payload to the sources it feeds.

The payload last decoded is kept to see what changed. It is no state: forgetting it costs time only.
"""

from dataclasses import dataclass
from typing import NamedTuple

from xlate_core.quantities import SourceSpec, SourceState, take
from xlate_core.signals import SignalSpec, intel_word, motorola_word

NO_WORD = -1


class DecoderEntry(NamedTuple):
    """One source of a unit; `mask` has a 1 for each of its bits, octet 0 least significant."""

    mask: int
    signal: SignalSpec
    spec: SourceSpec
    state: SourceState


@dataclass(slots=True)
class UnitDecoder:
    """The sources of one unit, and the payload when last decoded."""

    entries: tuple[DecoderEntry, ...]
    mask: int
    watched: bool
    has_motorola: bool
    word: int = NO_WORD


def unit_decoder(sources: list[tuple[SourceSpec, SourceState]]) -> UnitDecoder:
    """Return the decoder of a unit's sources."""
    entries = tuple(
        DecoderEntry(sum(1 << bit for bit in spec.signal.bits), spec.signal, spec, state)
        for spec, state in sources
        if spec.signal
    )
    mask = 0
    for entry in entries:
        mask |= entry.mask
    watched = any(entry.spec.watched for entry in entries)
    has_motorola = any(not entry.signal.intel for entry in entries)
    return UnitDecoder(entries, mask, watched, has_motorola)


def decode_unit(decoder: UnitDecoder, data: bytes, touched: set[int]) -> None:
    """Decode an accepted payload; the quantities whose source changed are added to `touched`.

    A signal whose bits did not change says nothing new, unless its source counts receptions.
    """
    intel = intel_word(data)
    moved = (intel ^ decoder.word) & decoder.mask
    if decoder.word == NO_WORD or decoder.watched:
        moved = decoder.mask
    elif not moved:
        return
    decoder.word = intel
    motorola = motorola_word(data) if decoder.has_motorola else 0
    for mask, signal, spec, state in decoder.entries:
        if moved & mask:
            whole = intel if signal.intel else motorola
            if take(spec, state, (whole >> signal.shift) & signal.mask):
                touched.add(spec.quantity)
