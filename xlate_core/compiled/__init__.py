"""The fast form of the reference engine, generated from a pairing as straight-line Python.

The readable engine (`xlate_core.bridge`) is the definition; this one is proven equal to it.
"""

from xlate_core.compiled.bridge import CompiledBridge, engine_of

__all__ = ["CompiledBridge", "engine_of"]
