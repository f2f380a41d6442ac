"""From a pairing to its compiled text; made once for each pairing in a process.

Beside an engine in machine code the text is a translated module, found by its name in the folder of
that engine; there is none unless somebody had it made (`tools/machine_code.py`).
"""

import __future__

import hashlib
import importlib
from collections.abc import Callable
from types import CodeType
from typing import Any

from xlate_core.compiled import interpreted
from xlate_core.compiled.once import once_for_each
from xlate_core.compiled.text import Text
from xlate_core.compiled.ticking import write
from xlate_core.interface import BridgeSpec

Build = Callable[[Any, Any], None]
NATIVE = "fast_form_"  # how the names of translated texts begin


def functions_of(text: Text) -> dict[str, Any]:
    """Return everything a text binds and defines, by name."""
    types_unread = __future__.annotations.compiler_flag
    code: CodeType = compile(text.whole(), "<fast form>", "exec", flags=types_unread)
    names: dict[str, Any] = dict(text.bound)
    exec(code, names)  # our own text, made of validated specs
    return names


@once_for_each
def native_name(spec: BridgeSpec) -> str:
    """Return the name of the module that is the translated text of a pairing."""
    return NATIVE + hashlib.sha256(repr(spec).encode()).hexdigest()[:20]


def is_available(spec: BridgeSpec) -> bool:
    """Return whether there is a text that runs beside the engine as it is.

    Beside one in machine code it has to be translated.
    """
    if not interpreted.TRANSLATED:
        return True
    made = {path.name.split(".")[0] for path in interpreted.FOLDER.parent.glob(f"{NATIVE}*")}
    return bool(made) and native_name(spec) in made


@once_for_each
def program_of(spec: BridgeSpec) -> Build:
    """Return the function that ties the pairing's text to one engine; the text is available."""
    return _translated(spec) if interpreted.TRANSLATED else _interpreted(spec)


def _interpreted(spec: BridgeSpec) -> Build:
    build: Build = functions_of(write(spec))["build"]
    return build


def _translated(spec: BridgeSpec) -> Build:
    module: Any = importlib.import_module(native_name(spec))
    bound = write(spec, native=True).bound

    def build(engine: Any, support: Any) -> None:
        module.build(engine, support, bound)

    return build
