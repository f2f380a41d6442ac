"""What `xlate timing bus` says: facts as plain data, for the tables and for JSON. Times in ms."""

from fractions import Fraction
from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from tools.timing.advice import audsley, curing_bit_rate, curing_offset
from tools.timing.offsets import analyse_placed
from tools.timing.response import Response
from tools.timing.streams import BusTiming
from xlate_core.frames import show_identifier
from xlate_core.pairing import Pairing

DEFINITIONS = (
    (
        "response: from what queues a frame (period, change, arrival of a routed frame) to its "
        "end on the bus, jitter included; time of the bus alone."
    ),
    "all: exact analysis over all instances of the busy period (Davis, Burns, Bril, Lukkien 2007).",
    "one test: their sufficient test, - where it cannot vouch.",
    "offsets: bound that counts the fixed distances of the module's own messages.",
    "assumed: every node hands over its most urgent frame first; worst bit stuffing.",
)
NOTHING_HELPS = (
    "nothing tried helps (bit rates to 1 Mbit/s, one other offset, free identifiers): longer "
    "periods, shorter messages or a longer deadline_us are left"
)
CAUTION = "A bound on paper is no approval: road use needs the checks of local regulations."


def facts(pairing: Pairing, timings: tuple[BusTiming, ...]) -> dict[str, Any]:
    """Return everything worth saying about both buses."""
    buses = {one.bus: _bus(pairing, one) for one in timings}
    return {
        "pairing": pairing.name,
        "digest": pairing.digest,
        "definitions": list(DEFINITIONS),
        "buses": buses,
        "all_met": all(bus["late"] == 0 for bus in buses.values()),
        "caution": CAUTION,
    }


def _bus(pairing: Pairing, timing: BusTiming) -> dict[str, Any]:
    placed = analyse_placed(timing.streams, timing.placed, timing.bit_rate, timing.disturbance)
    late = [one for one in timing.responses if not one.meets]
    return {
        "bit_rate": timing.bit_rate,
        "load_percent": round(float(100 * timing.load), 2),
        "blocking_bits": timing.disturbance.blocking_bits,
        "errors": timing.disturbance.errors,
        "error_interval_ms": timing.disturbance.error_interval_us / 1000,
        "messages": [
            _message(one, with_offsets)
            for one, with_offsets in zip(timing.responses, placed, strict=True)
        ],
        "late": len(late),
        "advice": _advice(pairing, timing, placed) if late else [],
    }


def _message(response: Response, with_offsets: Response) -> dict[str, Any]:
    stream = response.stream
    return {
        "message": stream.name,
        "identifier": f"0x{show_identifier(stream.identifier, stream.extended)}",
        "extended": stream.extended,
        "sender": stream.sender,
        "bits": stream.bits,
        "period_ms": stream.period_us / 1000,
        "jitter_ms": stream.jitter_us / 1000,
        "deadline_ms": stream.deadline_us / 1000,
        "response_ms": _ms(response.worst_us),
        "instances": len(response.instances_us),
        "sufficient_ms": _ms(response.sufficient_us),
        "with_offsets_ms": _ms(with_offsets.worst_us),
        "slack_ms": _ms(response.slack_us),
        "meets": response.meets,
    }


def _ms(value: Fraction | None) -> float | None:
    return None if value is None else round(float(value / 1000), 4)


def _advice(pairing: Pairing, timing: BusTiming, placed: list[Response]) -> list[str]:
    """Return what would make every message meet its deadline, or that nothing tried does."""
    advice = []
    if all(one.meets for one in placed):
        advice.append("counting the offsets of the module's own messages, every deadline is met")
    rate = curing_bit_rate(timing.streams, timing.bit_rate, timing.disturbance)
    if rate is not None:
        advice.append(f"bus.{timing.bus}.bit_rate = {rate} meets every deadline")
    tick_us = pairing.spec.tick_ms * 1000
    change = curing_offset(
        timing.streams, timing.placed, timing.bit_rate, timing.disturbance, tick_us
    )
    if change is not None:
        advice.append(
            f"transmit.{timing.bus}.{change.message}.offset_ms = {change.offset_us // 1000} meets "
            "every deadline, counting offsets"
        )
    if any(one.free for one in timing.streams):
        order = audsley(timing.streams, timing.bit_rate, timing.disturbance)
        now = {one.name: one.identifier for one in timing.streams}
        if order is None:
            advice.append("no order of the free identifiers meets every deadline")
        else:
            moved = [f"{name} 0x{key:X}" for name, key in order.items() if now[name] != key]
            advice.append("these identifiers meet every deadline: " + ", ".join(moved))
    return advice or [NOTHING_HELPS]


def print_facts(told: dict[str, Any]) -> None:
    """Print the facts as tables; colours only where the terminal wants them."""
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = 140
    console.print(f"{escape(told['pairing'])}, digest {told['digest'][:16]}")
    for name, bus in told["buses"].items():
        table = Table(
            title=f"{name} bus, {bus['bit_rate']} bit/s, load {bus['load_percent']} %",
            title_justify="left",
        )
        for column in ("message", "identifier", "sender"):
            table.add_column(column)
        for column in (
            "bits",
            "period",
            "jitter",
            "all",
            "one test",
            "offsets",
            "deadline",
            "slack",
        ):
            table.add_column(column, justify="right")
        table.add_column("verdict")
        for row in bus["messages"]:
            table.add_row(
                escape(row["message"]),
                row["identifier"],
                row["sender"],
                str(row["bits"]),
                *(
                    _number(row[key])
                    for key in (
                        "period_ms",
                        "jitter_ms",
                        "response_ms",
                        "sufficient_ms",
                        "with_offsets_ms",
                        "deadline_ms",
                        "slack_ms",
                    )
                ),
                "met" if row["meets"] else "LATE",
            )
        console.print(table)
        for line in bus["advice"]:
            console.print(f"advice: {escape(line)}")
    for line in told["definitions"]:
        console.print(escape(line))
    met = all(bus["late"] == 0 for bus in told["buses"].values())
    late = sum(bus["late"] for bus in told["buses"].values())
    console.print("every deadline is met" if met else f"{late} messages can be late")
    console.print(told["caution"])


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"
