"""The engine as interpreted Python, for trials: recording numbers are no machine integers.

Where the engine is Python this is the engine itself. Where it is translated its files are loaded a
second time under a name of their own, and what a trial takes from the engine is turned into its
counterpart there. Trials alone see these copies; what runs is the translated engine.
"""

import importlib
import sys
from collections.abc import Hashable, Sequence
from dataclasses import fields, is_dataclass
from enum import Enum
from functools import cache
from importlib.abc import MetaPathFinder, SourceLoader
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_file_location
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Any

from xlate_core.bridge import Bridge
from xlate_core.compiled.once import once_for_each
from xlate_core.interface import BridgeSpec

ENGINE = "xlate_core"
SECOND = "interpreted_xlate_core"
FOLDER = Path(__file__).resolve().parents[1]
TRANSLATED = not isinstance(Bridge.tick, FunctionType)


class _Source(SourceLoader):
    """Loads a file of the engine so that it imports its like, not the translated ones."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def get_filename(self, fullname: str) -> str:
        """Return the path of the file."""
        return str(self._path)

    def get_data(self, path: str | bytes) -> bytes:
        """Return what stands in the file."""
        return self._path.read_bytes()

    def get_code(self, fullname: str) -> CodeType:
        """Return the code of the file, with the engine's name replaced."""
        text = self._path.read_text(encoding="utf-8").replace(ENGINE, SECOND)
        code: CodeType = compile(text, str(self._path), "exec", dont_inherit=True)
        return code


class _Finder(MetaPathFinder):
    """Finds the second engine."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return where a module of the second engine is loaded from."""
        first, *names = fullname.split(".")
        if first != SECOND:
            return None
        place = FOLDER.joinpath(*names)
        if place.is_dir():
            where, within = place.joinpath("__init__.py"), [str(place)]
            loader = _Source(where)
            return spec_from_file_location(
                fullname, where, loader=loader, submodule_search_locations=within
            )
        where = place.with_suffix(".py")
        return spec_from_file_location(fullname, where, loader=_Source(where))


@cache
def module(name: str) -> Any:
    """Return a module of the interpreted engine by the engine's own name for it."""
    if not TRANSLATED:
        return importlib.import_module(name)
    if not any(isinstance(one, _Finder) for one in sys.meta_path):
        sys.meta_path.insert(0, _Finder())  # before the translated files are found
    return importlib.import_module(name.replace(ENGINE, SECOND, 1))


@cache
def kind(engine_kind: Hashable) -> Any:
    """Return the interpreted counterpart of a class of the engine; others stay as they are."""
    if not TRANSLATED or not isinstance(engine_kind, type):
        return engine_kind
    if engine_kind.__module__.split(".")[0] != ENGINE:
        return engine_kind
    found: Any = module(engine_kind.__module__)
    for part in engine_kind.__qualname__.split("."):
        found = getattr(found, part)
    return found


def counterpart(value: Any) -> Any:
    """Return a value of the engine as the interpreted engine has it; a copy where it differs."""
    if not TRANSLATED:
        return value
    own = type(value)
    if own in (int, bool, str, bytes, type(None)):
        return value
    other = kind(value.__class__)
    if isinstance(value, Enum):
        return other(value.value)
    if isinstance(value, tuple):
        parts = [counterpart(part) for part in value]
        return other._make(parts) if hasattr(own, "_fields") else tuple(parts)
    if isinstance(value, list):
        return [counterpart(part) for part in value]
    if isinstance(value, dict):
        return {counterpart(key): counterpart(part) for key, part in value.items()}
    if isinstance(value, set | frozenset):
        return own(counterpart(part) for part in value)
    if is_dataclass(value) and other is not own:
        made = object.__new__(other)
        for one in fields(own):
            object.__setattr__(made, one.name, counterpart(getattr(value, one.name)))
        return made
    return value


def bridge_beside(bridge: Bridge) -> Any:
    """Return the engine itself, or where it is translated an interpreted one of its pairing.

    Trials look at its specs and make copies of its parts, so engines of a pairing share one.
    """
    if not TRANSLATED:
        return bridge
    return _beside(bridge.spec)


@once_for_each
def _beside(spec: BridgeSpec) -> Any:
    return module("xlate_core.bridge").Bridge(counterpart(spec))
