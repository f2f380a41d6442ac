"""What a pairing says about the traffic around the module, frozen, for the timing tools."""

from dataclasses import dataclass

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.context import Context
from xlate_core.pairing.schema_traffic import BusTrafficTable


@dataclass(frozen=True, slots=True)
class MessageTraffic:
    """How one message is sent; times in us, None = as the database or the bus says."""

    period_us: int | None
    jitter_us: int | None
    deadline_us: int | None
    free_identifier: bool


@dataclass(frozen=True, slots=True)
class BusTraffic:
    """The traffic of one bus; times in us, see the keys of [traffic.BUS]."""

    jitter_us: int
    unknown_octets: int | None
    errors: int
    error_interval_us: int
    messages: dict[str, MessageTraffic]


@dataclass(frozen=True, slots=True)
class Traffic:
    """The traffic of body and engine bus; the longest tick of the board; clock errors; budgets.

    `board_us` is None where the pairing does not say; `rates_said`: whether it says the bit rates.
    Budgets are (pattern of a way's name, longest reaction time in us).
    """

    buses: tuple[BusTraffic, BusTraffic]
    board_us: int | None
    skew_ppm: int
    budgets: tuple[tuple[str, int], ...]
    rates_said: tuple[bool, bool]


def check_traffic(context: Context) -> None:
    """Collect every message that its bus does not know, and every budget below a tick."""
    for bus in BUS_NAMES:
        known = [message.name for message in context.databases[bus]]
        # A message that a route brings has no layout on this bus.
        known += [
            message.name
            for route in context.file.route.values()
            if route.to == bus and (found := context.named_message(route.from_)) is not None
            for message in (found[1],)
        ]
        table: BusTrafficTable = getattr(context.file.traffic, bus)
        for name in table.message:
            if name not in known:
                path = ("traffic", bus, "message", name)
                context.collector.add_unknown(path, f"a message of bus {bus}", name, known)
    least = context.file.clock.tick_ms * 1000
    for pattern, budget in context.file.traffic.budget_us.items():
        if budget < least:
            expected = f"at least one tick, {least} us"
            context.collector.add(("traffic", "budget_us", pattern), str(budget), expected)


def build_traffic(context: Context) -> Traffic:
    """Return the frozen form of the traffic tables."""
    body, engine = (_bus(getattr(context.file.traffic, bus)) for bus in BUS_NAMES)
    table = context.file.traffic
    budgets = tuple(table.budget_us.items())
    buses = (context.file.bus.body, context.file.bus.engine)
    said = tuple("bit_rate" in bus.model_fields_set for bus in buses)
    return Traffic((body, engine), table.board_us, table.skew_ppm, budgets, (said[0], said[1]))


def _bus(table: BusTrafficTable) -> BusTraffic:
    return BusTraffic(
        table.jitter_us,
        table.unknown_octets,
        table.errors,
        table.error_interval_us,
        {
            name: MessageTraffic(one.period_us, one.jitter_us, one.deadline_us, one.free_identifier)
            for name, one in table.message.items()
        },
    )
