"""What the text of a pairing's fast form is made of."""

from xlate_core.compiled import receiving
from xlate_core.compiled.followers import followers_of
from xlate_core.compiled.layout import Layout
from xlate_core.interface import BridgeSpec
from xlate_core.transmission import OnLoss


class Plan:
    """What a pairing's text is made of."""

    def __init__(self, spec: BridgeSpec, native: bool = False) -> None:
        """Look at a pairing."""
        self.spec = spec
        self.followers = followers_of(spec)
        self.suited = [receiving.is_suited(spec, message, native) for message in spec.messages]
        self.layouts = [Layout(message, native) for message in spec.transmits]
        self.judged = sorted({fault.message for fault in spec.faults if fault.message >= 0})
        self.units = [i for i, unit in enumerate(spec.units) if self.suited[unit.message]]
        self.events = [i for i, message in enumerate(spec.transmits) if message.on_change]
        self.stops = [
            i for i, message in enumerate(spec.transmits) if message.on_loss is OnLoss.STOP
        ]
