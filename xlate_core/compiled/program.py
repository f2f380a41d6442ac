"""From a pairing to its compiled text; made once for each pairing in a process."""

from collections.abc import Callable
from types import CodeType
from typing import Any

from xlate_core.compiled.text import Text
from xlate_core.compiled.ticking import write
from xlate_core.interface import BridgeSpec

Build = Callable[[Any, Any], None]
MOST_KEPT = 16

_kept: dict[tuple[int, bool], tuple[BridgeSpec, Build]] = {}


def functions_of(text: Text) -> dict[str, Any]:
    """Return everything a text binds and defines, by name."""
    code: CodeType = compile(text.whole(), "<fast form>", "exec")
    names: dict[str, Any] = dict(text.bound)
    exec(code, names)  # our own text, made of validated specs
    return names


def program_of(spec: BridgeSpec, observed: bool) -> Build:
    """Return the function that ties the pairing's text to one engine."""
    known = _kept.get((id(spec), observed))
    if known is not None and known[0] is spec:
        return known[1]
    build: Build = functions_of(write(spec, observed))["build"]
    if len(_kept) >= MOST_KEPT:
        _kept.clear()
    _kept[id(spec), observed] = (spec, build)
    return build
