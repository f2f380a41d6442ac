"""The facts of a pairing as tables for people; colours only where the terminal wants them."""

from collections.abc import Iterable
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table


def print_facts(told: dict[str, Any]) -> None:
    """Print everything `pairing show` tells."""
    console = Console(highlight=False)  # rich itself honours NO_COLOR
    if not console.is_terminal:
        console.width = 160  # a file or a pipe has no edge to wrap at
    console.print(f"[bold]{escape(told['name'])}[/bold]: {escape(told['description'])}")
    if told["options"]:
        console.print(f"resolved with options {', '.join(told['options'])}")
    console.print(f"digest {told['digest']}, rules {told['rules']}")
    console.print(f"tick {told['tick_ms']} ms, control tick {told['control_ms']} ms")
    for name, bus in told["buses"].items():
        title = f"{name} bus, {bus['bit_rate']} bit/s, load at most {bus['load_percent']} %"
        if bus["without_period"]:
            title += f" and {bus['without_period']} without period"
        columns = ("message", "identifier", "octets", "role", "period ms", "")
        rows = (
            (m["name"], m["identifier"], m["length"], m["role"], m["period_ms"] or "-", m["detail"])
            for m in bus["messages"]
        )
        _print(console, title, columns, rows)
    _print(
        console,
        "quantities",
        ("from", "quantity", "unit", "step", "range", "on loss", "to"),
        (
            (
                "\n".join(q["from"]),
                q["name"],
                q["unit"],
                q["resolution"],
                "..".join(q["range"]),
                _on_loss(q),
                "\n".join(q["to"]) or "nothing",
            )
            for q in told["quantities"]
        ),
    )
    _print(
        console,
        "pins",
        ("pin", "direction", "kind", "active", "quantity", "unpowered"),
        [(p["name"], "input", p["kind"], p.get("active", ""), "", "") for p in told["inputs"]]
        + [
            (p["name"], "output", p["kind"], p["active"], p["quantity"], p["unpowered"])
            for p in told["outputs"]
        ],
    )
    _print(
        console,
        "functions, in order",
        ("function", "kind", "reads", "writes", "settings"),
        (
            (
                f["name"],
                f["kind"],
                "\n".join(f["reads"]),
                "\n".join(f["writes"]),
                "\n".join(f"{key} {value}" for key, value in f["settings"].items()),
            )
            for f in told["functions"]
        ),
    )
    _print(
        console,
        "conditions",
        ("condition", "holds while"),
        ((c["name"], " and ".join(c["terms"]) or "always") for c in told["conditions"]),
    )
    if told["faults"]:
        console.print("faults: " + escape(", ".join(told["faults"])))
    for entry in told["fault_memory"]:
        stored = ", ".join(entry["snapshot"]) or "no quantity"
        console.print(
            escape(
                f"remembered: {entry['fault']} as {entry['code']} ({entry['failure_type']}) with "
                f"{stored}, erased after {entry['aging_cycles'] or 'no number of'} good cycles"
            )
        )
    for note in told["notes"]:
        console.print("note: " + escape(note))


def _on_loss(quantity: dict[str, Any]) -> str:
    if quantity["substitute"] is None:
        return ""
    hold = f"hold {quantity['hold_ms']} ms, " if quantity["hold_ms"] else ""
    return f"{hold}then {quantity['substitute']}"


def _print(
    console: Console, title: str, columns: Iterable[str], rows: Iterable[Iterable[object]]
) -> None:
    """Print one table, unless it has no row."""
    table = Table(title=escape(title), title_justify="left", title_style="bold")
    for column in columns:
        table.add_column(column)
    for row in rows:
        table.add_row(*(escape(str(cell)) for cell in row))
    if table.row_count:
        console.print()
        console.print(table)
