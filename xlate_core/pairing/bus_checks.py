"""Checks of who sends what on which bus: second senders, loops, changed identifiers (rule 13)."""

from xlate_core.frames import BUS_NAMES, FrameKey
from xlate_core.pairing.context import Context
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.positions import KeyPath

Places = dict[FrameKey, tuple[KeyPath, DbcMessage]]


def check_buses(context: Context) -> None:
    """Collect every conflict between received, sent and routed messages."""
    received: Places = {message.key: (path, message) for path, _, message in context.received()}
    sent: Places = {message.key: (path, message) for path, _, message in context.sent()}
    looping = _check_loops(context)
    for name, route in context.file.route.items():
        found = context.named_message(route.from_)
        if found is None:
            continue
        bus, message = found
        path: KeyPath = ("route", name, "from")
        if bus == route.to:
            other = BUS_NAMES[1 - message.bus]
            context.collector.add(("route", name, "to"), f'"{bus}"', f'the other bus, "{other}"')
            continue
        received.setdefault(message.key, (path, message))
        handed_on = message.key._replace(bus=1 - message.bus)
        _check_other_bus(context, path, bus, message)
        if handed_on in sent:
            first, _ = sent[handed_on]
            context.collector.add(
                path,
                f"{message.shown_identifier}, a second time on bus {route.to}",
                f"one sender: {first[0]} {first[-1] if first[0] == 'transmit' else first[1]}",
            )
        if name not in looping:
            sent.setdefault(handed_on, (path, message))
    for key, (path, message) in sent.items():
        if key in received:
            other_path, _ = received[key]
            if path[0] == "route" and other_path[0] == "route" and path[1] in looping:
                continue
            context.collector.add(
                path,
                f"{message.shown_identifier} both sent and received on bus {BUS_NAMES[key.bus]}",
                "an identifier that is either sent or received on a bus",
            )


def _check_loops(context: Context) -> set[str]:
    """Return the routes that send back what another route brought."""
    looping: set[str] = set()
    seen: dict[FrameKey, str] = {}
    for name, route in context.file.route.items():
        found = context.named_message(route.from_)
        if found is None:
            continue
        key = found[1].key
        back = seen.get(key._replace(bus=1 - key.bus))
        if back is not None:
            looping |= {name, back}
            context.collector.add(
                ("route", name, "from"),
                f'"{route.from_}", which route {back} brought from the other bus',
                "routes that do not hand a message round in a loop",
            )
        seen[key] = name
    return looping


def _check_other_bus(context: Context, path: KeyPath, bus: str, message: DbcMessage) -> None:
    """A routed message keeps its identifier; the other database must agree where it names it."""
    target = BUS_NAMES[1 - message.bus]
    twin = context.message(target, message.name)
    if twin is None:
        return
    if (twin.extended, twin.identifier) != (message.extended, message.identifier):
        table = context.file.receive.get(bus, {}).get(message.name)  # type: ignore[call-overload]
        checksum = table.checksum if table is not None else None
        folds = checksum.fold if checksum is not None else []
        folded = any(fold.item == "identifier" for fold in folds)
        reason = ", which is folded into its checksum" if folded else ""
        context.collector.add(
            path,
            f"{message.name} as {message.shown_identifier} here and {twin.shown_identifier} on bus "
            f"{target}",
            f"the same identifier on both buses: a route does not change it{reason}",
        )
