"""The values a received message has at plain rest."""

from hil.vectors.driving import ignition_sources
from hil.vectors.names import Received
from hil.vectors.senders import initial_raw, sealed_signals, usable_range
from xlate_core.pairing import Pairing

SWITCH_BITS = 3  # a longer signal has a value of its own to rest at


def resting_values(pairing: Pairing, received: Received) -> dict[str, int]:
    """Return raw values at rest: switches as the drive has them, other values a quarter up.

    What the bridge takes no value from keeps its initial one: it may say whose message it is.
    """
    on = ignition_sources(pairing)
    valid = {source.name: source.valid for source in pairing.spec.sources}
    sealed = sealed_signals(received)
    values = {}
    for signal in received.layout.signals:
        full = f"{received.name}.{signal.name}"
        low, high = usable_range(signal, full, valid)
        values[signal.name] = initial_raw(signal)
        if full in on:
            values[signal.name] = max(1, low)
        elif full in valid and signal.spec.length > SWITCH_BITS and signal.name not in sealed:
            values[signal.name] = low + (high - low) // 4
    return values
