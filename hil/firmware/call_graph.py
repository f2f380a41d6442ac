"""Worst stack of a program, from the call graph and stack figures the compiler writes.

gcc writes one `.ci` file an object: nodes with the stack of each function, edges for each call. The
worst stack is the deepest path from a root. The core has no recursion, so the graph has no circle;
one that shows up is an error, as is a call through a pointer.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

NODE = re.compile(r'node: \{ title: "([^"]+)" label: "([^"]*)"')
EDGE = re.compile(r'edge: \{ sourcename: "([^"]+)" targetname: "([^"]+)"')
OCTETS = re.compile(r"(\d+) bytes \((static|dynamic,bounded|dynamic)\)")
LIBRARY_OCTETS = 96
"""Allowance for a function without figures: 64-bit division of the compiler's own library, which
keeps at most some twenty registers."""


class CallGraphError(Exception):
    """The call graph has something whose stack cannot be bounded."""


@dataclass(slots=True)
class CallGraph:
    """Stack in octets of every function, and whom it calls."""

    stack: dict[str, int] = field(default_factory=dict)
    calls: dict[str, set[str]] = field(default_factory=dict)
    allowed: set[str] = field(default_factory=set)

    def worst(self, root: str) -> tuple[int, tuple[str, ...]]:
        """Return the deepest stack below and with `root`, in octets, and the path to it."""
        if root not in self.stack:
            raise CallGraphError(f"no function {root} in the call graph")
        done: dict[str, tuple[int, tuple[str, ...]]] = {}
        return self._deepest(root, (), done)

    def _deepest(
        self,
        function: str,
        above: tuple[str, ...],
        done: dict[str, tuple[int, tuple[str, ...]]],
    ) -> tuple[int, tuple[str, ...]]:
        """Return octets and path of the deepest stack from `function` on."""
        if function in above:
            raise CallGraphError(f"recursion: {' -> '.join((*above, function))}")
        if function in done:
            return done[function]
        if function == "__indirect_call":
            raise CallGraphError(f"a call through a pointer in {above[-1]}")
        if function in self.stack:
            own = self.stack[function]
        else:
            own = LIBRARY_OCTETS
            self.allowed.add(function)
        deepest: tuple[int, tuple[str, ...]] = (0, ())
        for callee in sorted(self.calls.get(function, ())):
            found = self._deepest(callee, (*above, function), done)
            if found[0] > deepest[0]:
                deepest = found
        done[function] = (own + deepest[0], (plain(function), *deepest[1]))
        return done[function]


def plain(title: str) -> str:
    """Return a function's name without the file that gcc puts before a static one."""
    return title.rsplit(":", 1)[-1]


def read(paths: Iterable[Path]) -> CallGraph:
    """Read the `.ci` files of a build; raises CallGraphError when a stack has no bound."""
    graph = CallGraph()
    for path in sorted(paths):
        text = path.read_text(encoding="utf-8")
        for title, label in NODE.findall(text):
            octets = OCTETS.search(label)
            if octets is None:
                continue  # only declared here
            if octets[2] == "dynamic":
                raise CallGraphError(f"{plain(title)} has a stack without bound")
            graph.stack[title] = int(octets[1])
        for caller, callee in EDGE.findall(text):
            graph.calls.setdefault(caller, set()).add(callee)
    return graph
