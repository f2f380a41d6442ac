"""Checksums as text over the octets `data`, computed by C-implemented functions.

The CRC library's inner function is used with a table and a start value into which the folded octets
are put beforehand. XOR over octets is the same as the remainder by the polynomial x^8 + 1, so the
same function computes it, with a table in which every octet stands for itself.
"""

from collections.abc import Callable
from typing import Any

import crcmod.crcmod

from xlate_core.compiled import native
from xlate_core.compiled.text import Text
from xlate_core.protection import (
    OCTETS,
    ChecksumKind,
    ChecksumSpec,
    CrcSpec,
    checksum,
    checksum_good,
)
from xlate_core.protection.crc import register_start

# The library's inner functions: octets, start value and table in, register out; in C where built.
_crcfun: Any = vars(crcmod.crcmod)["_crcfun"]

IDENTITY = bytes(range(256))


def crc_table(spec: CrcSpec) -> bytes:
    """Return the CRC of every single octet with start and final value zero."""
    function = crcmod.mkCrcFun((1 << spec.width) | spec.poly, 0, spec.reflected, 0)
    return bytes(function(octet) for octet in OCTETS)


def _parts(spec: ChecksumSpec, whole: int) -> list[str]:
    """Return the covered octets without the checksum's own as texts over `data`."""
    own = spec.checksum_octet
    first, end = spec.first_octet, spec.last_octet + 1
    if not first <= own < end:
        spans = [(first, end)]
    else:
        spans = [(first, own), (own + 1, end)]
    return [_slice(low, high, whole) for low, high in spans if low < high]


def _slice(low: int, high: int, whole: int) -> str:
    if (low, high) == (0, whole):
        return "data"
    return f"data[{low or ''}:{high if high < whole else ''}]"


def checksum_text(text: Text, name: str, spec: ChecksumSpec, whole: int) -> str:
    """Return an expression for the checksum of `data`, a payload of `whole` octets."""
    if not spec.plain:
        text.bind("checksum", checksum)
        text.bind(f"{name}_spec", spec)
        return f"checksum({name}_spec, data)"
    parts = _parts(spec, whole)
    if spec.kind is ChecksumKind.SUM8:
        folded = sum(spec.before + spec.after)
        sums = [f"sum({part})" for part in parts] + ([str(folded)] if folded else [])
        return f"({' + '.join(sums)}) & 255"
    if spec.kind is ChecksumKind.XOR8:
        start = 0
        for octet in spec.before + spec.after:
            start ^= octet
        return _run(text, name, parts, start, IDENTITY, reflected=False)
    crc = spec.crc
    if crc is None or crc.width != 8:
        text.bind("checksum", checksum)
        text.bind(f"{name}_spec", spec)
        return f"checksum({name}_spec, data)"
    table = crc_table(crc)
    function = _crcfun._crc8r if crc.reflected else _crcfun._crc8
    start = function(spec.before, register_start(crc), table)
    register = _run(text, name, parts, start, table, crc.reflected)
    if not spec.after:
        return f"{register} ^ {crc.xorout}" if crc.xorout else register
    final = bytes(function(spec.after, octet, table) ^ crc.xorout for octet in range(256))
    return f"{text.bind(f'{name}_final', final)}[{register}]"


def _run(text: Text, name: str, parts: list[str], start: int, table: bytes, reflected: bool) -> str:
    """Return the text that runs the library's function over the parts from a start value."""
    function = "crc8r" if reflected else "crc8"
    text.bind(function, _crcfun._crc8r if reflected else _crcfun._crc8)
    text.bind(f"{name}_table", table)
    result = str(start)
    for part in parts:
        result = f"{function}({part}, {result}, {name}_table)"
    return result


def is_native(spec: ChecksumSpec) -> bool:
    """Return whether a native text works a checksum out octet by octet."""
    return spec.plain and (
        spec.kind in (ChecksumKind.SUM8, ChecksumKind.XOR8)
        or (spec.crc is not None and spec.crc.width == 8)
    )


def native_text(text: Text, name: str, spec: ChecksumSpec, text_of: Callable[[int], str]) -> str:
    """Return an expression for a checksum over octets; for a CRC, lines that run it are added."""
    crc = spec.crc
    if spec.kind in (ChecksumKind.SUM8, ChecksumKind.XOR8) or crc is None:
        return native.folded(spec, text_of)
    table = crc_table(crc)
    function = _crcfun._crc8r if crc.reflected else _crcfun._crc8
    start = function(spec.before, register_start(crc), table)
    text.bind(f"{name}_table", table)
    text.add(*native.register_lines(start, f"{name}_table", native.covered(spec), text_of))
    if not spec.after:
        return f"(register ^ {crc.xorout})"
    final = bytes(function(spec.after, octet, table) ^ crc.xorout for octet in range(256))
    return f"i64({text.bind(f'{name}_final', final)}[register])"


def wrong_text(text: Text, name: str, spec: ChecksumSpec, whole: int) -> str:
    """Return an expression that is true when `data` carries another checksum than it should."""
    if not spec.plain:
        text.bind("checksum_good", checksum_good)
        text.bind(f"{name}_spec", spec)
        payload = native.octets_of_word(whole) if text.native else "data"
        return f"not checksum_good({name}_spec, {payload})"
    own = spec.checksum_octet
    if text.native and is_native(spec):
        wrong = native_text(text, name, spec, native.octet_of_word)
        return f"{native.octet_of_word(own)} != {wrong}"
    everything = (spec.first_octet, spec.last_octet) == (0, whole - 1) and own < whole
    if everything and spec.kind is ChecksumKind.SUM8:
        # The sum with its own octet counted, less twice that octet, is 0 when it is right.
        folded = sum(spec.before + spec.after)
        return f"(sum(data) + {folded} - 2 * data[{own}]) & 255"
    if everything and spec.kind is ChecksumKind.XOR8:
        start = 0
        for octet in spec.before + spec.after:
            start ^= octet
        return _run(text, name, ["data"], start, IDENTITY, reflected=False)
    crc = spec.crc
    if everything and crc is not None and crc.width == 8 and own == whole - 1 and not spec.after:
        # A CRC that takes in its own right value ends at one fixed register, and only then.
        table = crc_table(crc)
        function = _crcfun._crc8r if crc.reflected else _crcfun._crc8
        start = function(spec.before, register_start(crc), table)
        return f"{_run(text, name, ['data'], start, table, crc.reflected)} != {table[crc.xorout]}"
    if text.native:
        text.add(f"data = {native.octets_of_word(whole)}")
    return f"data[{own}] != {checksum_text(text, name, spec, whole)}"
