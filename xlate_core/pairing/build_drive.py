"""Specs of the functions around the engine, one builder a kind."""

from fractions import Fraction

from xlate_core.functions.air_conditioning import (
    AirConditioningRefusal,
    AirConditioningSpec,
    PermissionWindowSpec,
)
from xlate_core.functions.engine_running import EngineRunningSpec, ListenerSpec, ToldOnLoss
from xlate_core.functions.fuel_pump import FuelPumpSpec, PumpGuardSpec
from xlate_core.functions.pump_command import PumpCommandSpec, PumpLevelSpec
from xlate_core.functions.starter import StarterSpec
from xlate_core.functions.torque_request import TorqueRequestSpec
from xlate_core.pairing.context import Context
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import steps
from xlate_core.pairing.schema_drive import (
    AirConditioningTable,
    EngineRunningTable,
    FuelPumpTable,
    PumpCommandTable,
    StarterTable,
    TorqueRequestTable,
)


def control_ticks(context: Context, duration_ms: int) -> int:
    """Return a duration in control ticks; that it is a multiple has been checked."""
    return duration_ms // context.file.clock.control_ms


def build_fuel_pump(
    context: Context, indices: Indices, path: KeyPath, table: FuelPumpTable
) -> FuelPumpSpec:
    """Return the spec of a fuel pump; guard and command only where the pairing has them."""
    where = (*path, "rotation_above")
    guard = None
    if table.runs_cranking or table.crash is not None or table.on_loss is not None:
        guard = PumpGuardSpec(
            runs_cranking=table.runs_cranking,
            crash=indices.quantity(table.crash),
            loss_enable=indices.quantity(table.on_loss.enable if table.on_loss else None),
            loss_run=control_ticks(context, table.on_loss.longest_ms if table.on_loss else 0),
        )
    command = None
    if table.command is not None:
        command = _pump_command(context, indices, (*path, "command"), table.command)
    return FuelPumpSpec(
        name=table.name,
        output=indices.quantities[table.output],
        engine_speed=indices.quantities[table.engine_speed],
        prime=control_ticks(context, table.prime_ms),
        rotation_above=steps(context, where, table.rotation_above, table.engine_speed, inside=True),
        off_delay=control_ticks(context, table.off_delay_ms),
        guard=guard,
        command=command,
    )


def _pump_command(
    context: Context, indices: Indices, path: KeyPath, table: PumpCommandTable
) -> PumpCommandSpec:
    def command(key: KeyPath, value: Fraction) -> int:
        return steps(context, (*path, *key), value, table.output, inside=True)

    levels = []
    for number, level in enumerate(table.levels):
        where = (*path, "levels", number, "above")
        above = steps(context, where, level.above, table.demand, inside=True)
        left = steps(context, (*path, "hysteresis"), level.above - table.hysteresis, table.demand)
        sent = command(("levels", number, "command"), level.command)
        levels.append(PumpLevelSpec(above, left, sent))
    answer, low, high = table.answer, 0, 0
    if answer is not None:
        where = (*path, "answer", "valid")
        low = steps(context, where, answer.valid[0], answer.quantity)
        high = steps(context, where, answer.valid[1], answer.quantity)
    return PumpCommandSpec(
        output=indices.quantities[table.output],
        off=command(("off",), table.off),
        prime=command(("prime",), table.prime),
        base=command(("base",), table.base),
        demand=indices.quantities[table.demand],
        levels=tuple(levels),
        answer=indices.quantity(answer.quantity if answer else None),
        answer_low=low,
        answer_high=high,
        answer_time=control_ticks(context, answer.bad_ms if answer else 0),
        answer_output=indices.quantity(answer.output if answer else None),
    )


def build_air_conditioning(
    context: Context, indices: Indices, path: KeyPath, table: AirConditioningTable
) -> AirConditioningSpec:
    """Return the spec of an air conditioning."""
    windows = []
    for key in ("engine_speed", "coolant", "pressure", "evaporator"):
        window = getattr(table, key)
        if window is None:
            continue
        engage, release = (
            [
                steps(context, (*path, key, span, end), value, window.quantity)
                for end, value in enumerate(getattr(window, span))
            ]
            for span in ("engage", "release")
        )
        windows.append(
            PermissionWindowSpec(
                quantity=indices.quantities[window.quantity],
                engage_low=engage[0],
                engage_high=engage[1],
                release_low=release[0],
                release_high=release[1],
                refusal=int(AirConditioningRefusal[key.upper()]),
            )
        )
    pedal, full, below = table.pedal, 0, 0
    if pedal is not None:
        where = (*path, "pedal")
        full = steps(context, (*where, "full"), pedal.full, pedal.quantity, inside=True)
        below = steps(context, (*where, "below"), pedal.below, pedal.quantity, inside=True)
    return AirConditioningSpec(
        name=table.name,
        request=indices.quantities[table.request],
        idle_up=indices.quantities[table.idle_up],
        clutch=indices.quantities[table.clutch],
        refusal=indices.quantity(table.refusal),
        permit=indices.quantity(table.permit),
        windows=tuple(windows),
        pedal=indices.quantity(pedal.quantity if pedal else None),
        pedal_full=full,
        pedal_below=below,
        pedal_cut=control_ticks(context, pedal.least_cut_ms if pedal else 0),
        running_for=control_ticks(context, table.running_for_ms),
        engage_delay=control_ticks(context, table.engage_delay_ms),
        min_off=control_ticks(context, table.min_off_ms),
    )


def build_starter(
    context: Context, indices: Indices, path: KeyPath, table: StarterTable
) -> StarterSpec:
    """Return the spec of a starter."""

    def speed(key: str) -> int:
        value = getattr(table, key)
        return steps(context, (*path, key), value, table.engine_speed, inside=True)

    return StarterSpec(
        name=table.name,
        button=indices.quantities[table.button],
        engine_speed=indices.quantities[table.engine_speed],
        all_of=tuple(indices.quantities[name] for name in table.all_of),
        any_of=tuple(indices.quantities[name] for name in table.any_of),
        output=indices.quantities[table.output],
        outcome=indices.quantity(table.outcome),
        turning_above=speed("turning_above"),
        release_above=speed("release_above"),
        max_crank=control_ticks(context, table.max_crank_ms),
        rest=control_ticks(context, table.rest_ms),
        limit_rest=control_ticks(context, table.limit_rest_ms),
        while_pressed=table.while_pressed,
    )


def build_torque_request(
    context: Context, indices: Indices, path: KeyPath, table: TorqueRequestTable
) -> TorqueRequestSpec:
    """Return the spec of a torque request."""
    none = steps(context, (*path, "no_request"), table.no_request, table.carried, inside=True)
    return TorqueRequestSpec(
        name=table.name,
        request=indices.quantities[table.request],
        active=indices.quantities[table.active],
        carried=indices.quantities[table.carried],
        carried_active=indices.quantities[table.carried_active],
        no_request=none,
        answer=indices.quantities[table.answer],
        actual=indices.quantities[table.actual],
        maximum=indices.quantity(table.maximum),
        friction=indices.quantity(table.friction),
        increase=table.direction == "increase",
        tolerance=steps(context, (*path, "tolerance"), table.tolerance, table.actual),
        settle=control_ticks(context, table.settle_ms),
    )


def build_engine_running(
    context: Context, indices: Indices, path: KeyPath, table: EngineRunningTable
) -> EngineRunningSpec:
    """Return the spec of who is told that the engine runs."""

    def speed(key: str) -> int:
        value = getattr(table, key)
        return steps(context, (*path, key), value, table.engine_speed, inside=True)

    return EngineRunningSpec(
        name=table.name,
        engine_speed=indices.quantities[table.engine_speed],
        running_above=speed("running_above"),
        running_below=speed("running_below"),
        listeners=tuple(
            ListenerSpec(
                output=indices.quantities[one.output],
                on_delay=control_ticks(context, one.on_delay_ms),
                off_delay=control_ticks(context, one.off_delay_ms),
                on_loss=int(ToldOnLoss[one.on_loss.upper()]),
            )
            for one in table.listeners
        ),
    )
