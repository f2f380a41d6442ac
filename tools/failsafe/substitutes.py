"""What stands in for lost data behind an output, by what the pairing says."""

from tools.failsafe.names import TableNames
from xlate_core.quantities import QuantitySpec


def substitute_of(names: TableNames, output: str) -> str:
    """Return how the quantity behind an output is substituted, in words."""
    index = names.quantity_of[output]
    spec = names.pairing.spec.quantities[index]
    if not spec.sources:
        return f"by the function that makes {spec.name}"
    return _words(spec, names)


def _words(spec: QuantitySpec, names: TableNames) -> str:
    ticks = f"held {spec.hold * names.pairing.spec.tick_ms} ms, then " if spec.hold else ""
    if spec.substitute is None:
        return f"{ticks}not available"
    value = float(spec.substitute * names.names.resolutions[spec.name])
    return f"{ticks}{value:g}"
