"""The canonical form of a validated pairing, and its digest.

Two pairings with the same form behave the same: comments, blanks, the notation of numbers and the
folder are outside. The number of the rule set is part of it.
"""

import dataclasses
import hashlib
import json
from enum import Enum
from fractions import Fraction
from typing import Any

from xlate_core.bridge import RULES, BridgeSpec


def plain(value: object) -> Any:
    """Return a spec as lists, dictionaries, texts, integers; enumerations by name, octets hex.

    Left out are fields that a spec derives from its others, and fields with a default that have it:
    a setting that a later version adds does not change the pairings that do not use it.
    """
    if isinstance(value, Enum):
        return value.name
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, Fraction):
        return f"{value.numerator}/{value.denominator}"
    if dataclasses.is_dataclass(value):
        fields = dataclasses.fields(value)
        given = {one.name: getattr(value, one.name) for one in fields if one.init}
        defaults = {one.name: one.default for one in fields}
        return {name: plain(it) for name, it in given.items() if it != defaults[name]}
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    raise TypeError(f"no canonical form for {type(value).__name__}")


def canonical(spec: BridgeSpec) -> str:
    """Return the canonical JSON: sorted keys, no blanks, ASCII."""
    form = {"rules": RULES, "spec": plain(spec)}
    return json.dumps(form, sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def digest(spec: BridgeSpec) -> str:
    """Return SHA-256 over the canonical form, 64 hex digits."""
    return hashlib.sha256(canonical(spec).encode("ascii")).hexdigest()
