"""Files -> one frozen, validated model: bridge.toml and two network databases -> `Pairing`.

`load(directory)` is the door; it raises `PairingError` with every `Problem` of the pairing. Only
hil and tools import this package.
"""

from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.pairing.loader import load
from xlate_core.pairing.model import Pairing
from xlate_core.pairing.problems import PairingError, Problem

__all__ = ["DbcMessage", "DbcSignal", "Pairing", "PairingError", "Problem", "load"]
