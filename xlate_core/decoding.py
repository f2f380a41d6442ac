"""Decoding of one reception unit: from the payload to the sources it feeds.

A unit whose bits are the same as last time says nothing new, except to sources that count
receptions (`SourceSpec.watched`); so its bits are kept. They are no state: forgetting them costs
time only.
"""

from dataclasses import dataclass

from xlate_core.quantities import NEVER_RECEIVED, SourceSpec, SourceState, take
from xlate_core.signals import SignalSpec, intel_word, motorola_word

NO_WORD = -1


@dataclass(slots=True)
class UnitDecoder:
    """The sources of one unit with their states, and the unit's bits when last decoded.

    `mask` has a 1 for every bit of the unit in the word with octet 0 least significant.
    """

    entries: tuple[tuple[SourceSpec, SourceState, SignalSpec], ...]
    mask: int
    watched: bool
    word: int = NO_WORD


def unit_decoder(sources: list[tuple[SourceSpec, SourceState]]) -> UnitDecoder:
    """Return the decoder of a unit's sources."""
    entries = tuple((spec, state, spec.signal) for spec, state in sources if spec.signal)
    bits = frozenset[int]().union(*(signal.bits for _, _, signal in entries))
    watched = any(spec.watched for spec, _, _ in entries)
    return UnitDecoder(entries, sum(1 << bit for bit in bits), watched)


def decode_unit(decoder: UnitDecoder, data: bytes, touched: set[int]) -> None:
    """Decode an accepted payload; the quantities whose source changed are added to `touched`."""
    intel = intel_word(data)
    word = intel & decoder.mask
    if word == decoder.word and not decoder.watched:
        return
    decoder.word = word
    motorola = motorola_word(data)
    for spec, state, signal in decoder.entries:
        whole = intel if signal.intel else motorola
        bits = (whole >> signal.shift) & signal.mask
        if bits == state.bits and state.status != NEVER_RECEIVED and not spec.watched:
            continue
        if take(spec, state, bits):
            touched.add(spec.quantity)
