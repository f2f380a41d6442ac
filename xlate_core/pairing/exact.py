"""Exact numbers of a pairing: integer, decimal as written, or a ratio such as "1/18"."""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

_RATIO = re.compile(r"\s*([+-]?\d+)\s*/\s*(\d+)\s*\Z")
_DECIMAL = re.compile(r"\s*[+-]?\d+(\.\d+)?([eE][+-]?\d{1,3})?\s*\Z")
EXPECTED_NUMBER = 'a number or an exact ratio such as "1/18"'
NOT_AVAILABLE = "not available"

_NUMBER_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "number"},
        {"type": "string", "pattern": r"^\s*[+-]?\d+(\s*/\s*\d+|\.\d+)?\s*$"},
    ]
}


def to_ratio(value: object) -> Fraction:
    """Return the exact number a TOML value stands for; ValueError says what is expected."""
    if isinstance(value, bool):
        raise ValueError(EXPECTED_NUMBER)
    if isinstance(value, int | Fraction):
        return Fraction(value)
    if isinstance(value, Decimal | float):
        return _from_decimal(str(value))
    if isinstance(value, str):
        ratio = _RATIO.match(value)
        if ratio and int(ratio[2]) != 0:
            return Fraction(int(ratio[1]), int(ratio[2]))
        return _from_decimal(value)
    raise ValueError(EXPECTED_NUMBER)


def _from_decimal(text: str) -> Fraction:
    if not _DECIMAL.match(text):
        raise ValueError(EXPECTED_NUMBER)
    return Fraction(text)


def to_ratio_or_not_available(value: object) -> Fraction | str:
    """Return the exact number, or the words "not available"."""
    if value == NOT_AVAILABLE:
        return NOT_AVAILABLE
    try:
        return to_ratio(value)
    except ValueError:
        raise ValueError(f'{EXPECTED_NUMBER}, or "{NOT_AVAILABLE}"') from None


def to_positive(value: object) -> Fraction:
    """Return the exact number, which is greater than zero."""
    ratio = to_ratio(value)
    if ratio <= 0:
        raise ValueError("a number greater than 0")
    return ratio


def to_nonzero(value: object) -> Fraction:
    """Return the exact number, which is not zero."""
    ratio = to_ratio(value)
    if ratio == 0:
        raise ValueError("a number other than 0")
    return ratio


def show_ratio(value: Fraction) -> str:
    """Return an exact number as people write it: an integer, a short decimal, or a ratio."""
    if value.denominator == 1:
        return str(value.numerator)
    rest = value.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest == 1 and value.denominator <= 1_000_000:
        return format(Decimal(value.numerator) / Decimal(value.denominator), "f")
    return f"{value.numerator}/{value.denominator}"


Physical = Annotated[Fraction, PlainValidator(to_ratio), WithJsonSchema(_NUMBER_SCHEMA)]
Positive = Annotated[Fraction, PlainValidator(to_positive), WithJsonSchema(_NUMBER_SCHEMA)]
Nonzero = Annotated[Fraction, PlainValidator(to_nonzero), WithJsonSchema(_NUMBER_SCHEMA)]
Substitute = Annotated[
    Fraction | str,
    PlainValidator(to_ratio_or_not_available),
    WithJsonSchema({"anyOf": [*_NUMBER_SCHEMA["anyOf"], {"const": NOT_AVAILABLE}]}),
]
