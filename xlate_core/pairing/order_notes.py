"""What the order of the functions means for their data: backward uses (rule 3)."""

from xlate_core.pairing.context import Context, function_inputs, function_outputs


def note_backward_uses(context: Context) -> None:
    """Note every function, fault or power input that sees the previous result of a later one."""
    made: dict[str, int] = {}
    for index, table in enumerate(context.file.function):
        for _, name in function_outputs(("function", index), table):
            made[name] = index
    functions = context.file.function
    for index, table in enumerate(functions):
        for _, name in function_inputs(("function", index), table):
            if made.get(name, -1) >= index:
                maker = functions[made[name]].name
                context.collector.note(
                    f"function {table.name} uses {name}, which {maker} produces later: "
                    "it sees the result of the control tick before"
                )
    earlier = [(f"fault {name}", fault.quantity) for name, fault in context.file.fault.items()]
    for key in ("ignition", "accessory", "crank", "engine_speed"):
        earlier.append((f"power {key}", getattr(context.file.power, key)))
    for what, quantity in earlier:
        if quantity in made:
            context.collector.note(
                f"{what} uses {quantity}, which {functions[made[quantity]].name} produces later: "
                "it sees the result of the control tick before"
            )
