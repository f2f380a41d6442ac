"""What runs the vehicle functions of one pairing: reset, control tick and state image in C.

Only the kinds a pairing uses are written, so that nothing else is compiled and linked. Plain calls,
one after the other or chosen by `switch`, not pointers to functions: so the worst stack can be
worked out from the calls.
"""

from collections import Counter
from collections.abc import Sequence

from hil.firmware.function_tables import KINDS, FunctionKind, Further, kind_of, used
from xlate_core.functions import FunctionSpec

HEAD = """\
/* The vehicle functions of this pairing by kind: reset, one control tick, the state image. */
#include "functions.h"

#include <stddef.h>

#include "interface.h"
"""


def source(functions: Sequence[FunctionSpec]) -> str:
    """Return xb_functions.c without its first line."""
    kinds = used(functions)
    return "\n".join([HEAD, reset(kinds), step(functions), image(kinds)])


def reset(kinds: Sequence[FunctionKind]) -> str:
    """Return the function that puts every function to its reset value."""
    lines = ["/* Put every function to its reset value. */"]
    lines += ["void xb_functions_reset(xb_engine *engine)", "{"]
    lines += [] if kinds else ["    (void)engine;"]
    for kind in kinds:
        records = {kind.array: kind.name, **{one.array: one.record for one in kind.further}}
        lines += loop(kind.name, records)
        if kind.parts is not None:
            lines += loop(kind.parts.name, {f"{kind.parts.name}s": kind.parts.name})
    return "\n".join([*lines, "}\n"])


def loop(counted: str, records: dict[str, str]) -> list[str]:
    """Return the loop that resets arrays (array -> record), all as long as one count says."""
    inner = [
        f"        engine->{array}[i] = xb_{record}_reset_state;"
        for array, record in records.items()
    ]
    return [
        f"    for (uint32_t i = 0u; i < xb_spec.{counted}_count; i++) {{",
        *inner,
        "    }",
    ]


def step(functions: Sequence[FunctionSpec]) -> str:
    """Return the function that runs all functions in their listed order."""
    lines = ["/* Run every function, in the listed order. */"]
    lines += ["void xb_functions_step(xb_engine *engine)", "{"]
    lines += [] if functions else ["    (void)engine;"]
    places: Counter[str] = Counter()
    for function in functions:
        kind = KINDS[kind_of(function)]
        lines += call(kind, places[kind.name])
        places[kind.name] += 1
    return "\n".join([*lines, "}\n"])


def call(kind: FunctionKind, place: int) -> list[str]:
    """Return the call of the step of one function, the `place`th of its kind."""
    given = [f"&xb_spec.{kind.array}[{place}]", f"&engine->{kind.array}[{place}]"]
    if kind.parts is not None:
        first = f"xb_spec.{kind.array}[{place}].first_{short(kind)}"
        given.append(f"&engine->{kind.parts.name}s[{first}]")
    given += [f"&engine->{one.array}[{place}]" for one in kind.further]
    given += ["&xb_all_quantities", *(["&engine->power"] if kind.sees_power else [])]
    begin = f"    xb_{kind.name}_step("
    return (begin + (",\n" + " " * len(begin)).join(given) + ");").split("\n")


def image(kinds: Sequence[FunctionKind]) -> str:
    """Return the function that puts out, or takes up, the state of one function."""
    lines = [
        "/* Put out, or take up, the state of one function and the records behind it. */",
        "void xb_functions_image(xb_engine *engine, const xb_function_spec *function,",
        "                        xb_writer *writer)",
    ]
    cases: list[str] = []
    for kind in kinds:
        cases += [case(kind), put(kind.name, f"{kind.array}[place]")]
        if kind.parts is not None:
            of = f"xb_spec.{kind.array}[place]"
            place = f"{kind.parts.name}s[{of}.first_{short(kind)} + i]"
            cases += [
                f"        for (uint32_t i = 0u; i < {of}.{short(kind)}_count; i++) {{",
                "    " + put(kind.parts.name, place),
                "        }",
            ]
        for one in kind.further:
            cases += behind(kind, one)
        cases.append("        break;")
    return "\n".join([*lines, *switch(cases, "(void)engine;", "(void)writer;")])


def behind(kind: FunctionKind, one: Further) -> list[str]:
    """Return what puts a further record of a function."""
    line = put(one.record, f"{one.array}[place]")
    if not one.asked_by:
        return [line]
    asked = f"xb_spec.{kind.array}[place].{one.asked_by}"
    return [f"        if ({asked} != NULL) {{", "    " + line, "        }"]


def put(record: str, place: str) -> str:
    """Return the statement that puts one record."""
    return f"        xb_put_{record}(writer, &engine->{place});"


def case(kind: FunctionKind) -> str:
    """Return the label of a kind."""
    return f"    case XB_{kind.name.upper()}:"


def short(kind: FunctionKind) -> str:
    """Return what the spec calls the repeated parts of a kind: the last word of their name."""
    return kind.parts.name.rsplit("_", 1)[-1] if kind.parts is not None else ""


def switch(cases: list[str], *unused: str) -> list[str]:
    """Return the body of a function that chooses by kind; without kinds nothing is used."""
    if not cases:
        return ["{", *(f"    {line}" for line in (*unused, "(void)function;")), "}\n"]
    return [
        "{",
        "    uint16_t place = function->place;",
        "",
        "    switch (function->kind) {",
        *cases,
        "    default:",
        "        break; /* the tables have no other kind */",
        "    }",
        "}\n",
    ]
