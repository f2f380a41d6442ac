"""What situations are drawn from: sources of outputs and of the power mode, their values."""

from collections.abc import Iterable, Iterator

from hil.vectors.driving import ignition_sources
from tools.timing.rig import Rig

SIXTEENTHS = (0, 2, 4, 8, 12, 16)  # of the valid range
EVERY_VALUE_BITS = 3  # a signal so short takes any of its values


def carried_by(rig: Rig, target: str) -> set[int]:
    """Return the quantities a target carries."""
    name = target.replace("output.", "output ")
    return {index for index, one in enumerate(rig.pairing.quantities) if name in one.read_by}


def power_sources(rig: Rig) -> Iterator[str]:
    """Yield the sources of what decides the power mode."""
    spec = rig.pairing.spec
    for index in (spec.power.engine_speed, spec.power.crank):
        if index >= 0:
            for source in spec.quantities[index].sources[:1]:
                yield spec.sources[source].name.split(" as ")[0]


def values_of(rig: Rig, names: Iterable[str]) -> dict[str, tuple[int, ...]]:
    """Return the values to try by source; the ignition stays on."""
    on = ignition_sources(rig.pairing)
    spec = rig.pairing.spec
    found: dict[str, tuple[int, ...]] = {}
    for source in names:
        if source in on or source.removeprefix("input.") in on:
            continue
        if source.startswith("input."):
            name = source.removeprefix("input.")
            if name in rig.names.levels:
                found[source] = (0, 1)
            else:
                low, high = spec.pins.analogues[rig.names.analogues[name]].valid
                found[source] = tuple(low + (high - low) * part // 16 for part in SIXTEENTHS)
        elif source.count(".") == 2:
            bus, message, name = source.split(".")
            signal = rig.names.received[f"{bus}.{message}"].layout.signal(name)
            if signal is None or f"{bus}.{message}" not in rig.streams:
                continue
            low, high = signal.raw_range()
            for one in spec.sources:
                if one.name == source:
                    low, high = max(low, one.valid[0]), min(high, one.valid[1])
            if signal.spec.length <= EVERY_VALUE_BITS:
                found[source] = tuple(range(low, high + 1))
            else:
                found[source] = tuple(low + (high - low) * part // 16 for part in SIXTEENTHS)
    return found
