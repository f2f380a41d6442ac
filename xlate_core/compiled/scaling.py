"""Scaling as text: decoding and encoding of one signal with all its constants folded (rule 4)."""

from math import gcd

from xlate_core.quantities import SourceSpec
from xlate_core.signals import SignalSpec
from xlate_core.transmission import PackSpec

Ranges = list[tuple[int, int]]


def quotient(name: str, a: int, b: int, d: int, low: int, high: int) -> str:
    """Return divide(name*a + b, d) as text, for a name known to lie in low..high."""
    common = gcd(gcd(a, b), d)
    a, b, d = a // common, b // common, d // common
    product = name if a == 1 else f"{name} * {a}"
    if d == 1:
        return product if b == 0 else f"{product} {'-' if b < 0 else '+'} {abs(b)}"
    ends = (low * a + b, high * a + b)
    up = f"({product} + {b + d // 2}) // {d}"
    down = f"-(({d // 2 - b} - {product}) // {d})"
    if min(ends) >= 0:
        return up
    if max(ends) < 0:
        return down
    return f"{up} if {product} >= {-b} else {down}"


def divided(value: int, a: int, b: int, d: int) -> int:
    """Return divide(value*a + b, d) of the rule; only to see which limits can be reached."""
    numerator = value * a + b
    if numerator >= 0:
        return (numerator + d // 2) // d
    return -((d // 2 - numerator) // d)


def limited(text: str, ends: tuple[int, int], low: int, high: int, name: str) -> list[str]:
    """Return the lines that give `name` the text's value, saturated only where it can be needed."""
    lines = [f"{name} = {text}"]
    if min(ends) < low:
        lines += [f"if {name} < {low}:", f"    {name} = {low}"]
    if max(ends) > high:
        lines += [f"if {name} > {high}:", f"    {name} = {high}"]
    return lines


def plain_ranges(spec: SourceSpec, signal: SignalSpec) -> Ranges:
    """Return the raw ranges that decode to a value: valid, and no special code."""
    ranges = [(max(spec.valid[0], signal.minimum), min(spec.valid[1], signal.maximum))]
    for first, last, _ in spec.specials:
        cut: Ranges = []
        for low, high in ranges:
            if last < low or first > high:
                cut.append((low, high))
                continue
            cut += [(low, first - 1)] if low < first else []
            cut += [(last + 1, high)] if last < high else []
        ranges = cut
    return [(low, high) for low, high in ranges if low <= high]


def in_ranges(name: str, ranges: Ranges, signal: SignalSpec) -> str | None:
    """Return the text that asks whether a raw value is in one of the ranges; None: it always is."""
    parts = []
    for low, high in ranges:
        if low == signal.minimum and high == signal.maximum:
            return None
        if low == signal.minimum:
            parts.append(f"{name} <= {high}")
        elif high == signal.maximum:
            parts.append(f"{name} >= {low}")
        else:
            parts.append(f"{low} <= {name} <= {high}")
    return " or ".join(parts) if parts else "False"


def decoding(spec: SourceSpec, ranges: Ranges, raw: str, value: str) -> list[str]:
    """Return the lines that give `value` what a raw value inside the ranges decodes to."""
    low, high = ranges[0][0], ranges[-1][1]
    ends = (divided(low, spec.a, spec.b, spec.d), divided(high, spec.a, spec.b, spec.d))
    text = quotient(raw, spec.a, spec.b, spec.d, low, high)
    return limited(text, ends, spec.low, spec.high, value)


def encoding(spec: PackSpec, low: int, high: int, value: str, raw: str) -> list[str]:
    """Return the lines that give `raw` the field of a value in low..high, two's complement cut."""
    ends = (divided(low, spec.a, spec.b, spec.d), divided(high, spec.a, spec.b, spec.d))
    lines = limited(
        quotient(value, spec.a, spec.b, spec.d, low, high), ends, spec.low, spec.high, raw
    )
    if spec.signal.signed:
        lines.append(f"{raw} &= {spec.signal.mask}")
    return lines
