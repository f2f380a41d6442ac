"""Rules of AUTOSAR COM (SWS COM, R4.2.2 to R20-11) where this engine has the same behaviour.

Paraphrased from secondary sources that quote the clauses (public COM sources and study notes), not
from the document; clause ids beside each check. Where this engine does otherwise by choice, the
check says so. No conformity is claimed.
"""

from pathlib import Path

from hil.vectors.driving import driving_inputs
from hil.vectors.names import names_of
from hil.vectors.senders import Sender, initial_raw, next_frame, set_signal
from xlate_core.bridge import Bridge, Inputs
from xlate_core.events import Event, Reason
from xlate_core.frames import Bus, Frame
from xlate_core.pairing import load
from xlate_core.quantities import ORIGIN_SUBSTITUTE, Status

PAIRINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pairings"
KEY_ON = Inputs((True,))


class Minimal:
    """The smallest pairing: STATE, first deadline 8, deadline 5; GAUGE every 10, gap 3 ticks."""

    def __init__(self) -> None:
        self.pairing = load(PAIRINGS / "minimal")
        names = names_of(self.pairing)
        received = names.received["engine.STATE"]
        values = {one.name: initial_raw(one) for one in received.layout.signals}
        self.sender = Sender(received, values)
        self.events: list[Event] = []
        self.bridge = Bridge(self.pairing.spec, self.events.append)
        self.sent: list[tuple[int, Frame]] = []

    def state(self) -> Frame:
        stimulus = next_frame(self.sender, 0)
        assert stimulus is not None
        return stimulus.frame

    def tick(self, *frames: Frame) -> int:
        now = self.bridge.now
        self.bridge.receive_all(frames)
        outputs = self.bridge.tick(KEY_ON)
        self.sent += [(now, frame) for frame in outputs.frames[Bus.BODY]]
        return now

    def run(self, ticks: int) -> None:
        for _ in range(ticks):
            self.tick()

    def ticks_of(self, reason: Reason) -> list[int]:
        return [one.tick for one in self.events if one.reason is reason]

    def quantity(self, name: str) -> tuple[int, Status, int]:
        index = [one.name for one in self.pairing.spec.quantities].index(name)
        state = self.bridge.quantity(index)
        return state.value, Status(state.status), state.origin


def test_first_timeout_then_timeout_reloaded_by_each_reception() -> None:
    """SWS_Com_00292, 00715, 00787: the first timer uses the first timeout, later ones the other."""
    never = Minimal()
    never.run(60)
    (on,) = never.ticks_of(Reason.SUPERVISION_ON)
    assert never.ticks_of(Reason.UNIT_LOST) == [on + 8]
    once = Minimal()
    once.run(on + 2)
    at = once.tick(once.state())
    once.run(2)
    again = once.tick(once.state())
    once.run(60)
    assert again == at + 3
    assert once.ticks_of(Reason.UNIT_LOST) == [again + 5]


def test_timeout_zero_switches_monitoring_off() -> None:
    """SWS_Com_00333. A page of the farm pickup has no deadline and is never lost."""
    spec = load(PAIRINGS / "farm_pickup").spec
    unit = next(one for one in spec.units if one.name.endswith("BED_AND_TANK.path.3"))
    assert (unit.first_deadline, unit.deadline) == (0, 0)
    events: list[Event] = []
    bridge = Bridge(spec, events.append)
    inputs = driving_inputs(names_of(load(PAIRINGS / "farm_pickup")))
    for _ in range(6000):
        bridge.tick(inputs)
    lost = {one.subject for one in events if one.reason is Reason.UNIT_LOST}
    assert unit.name not in lost
    assert any("BED_AND_TANK.path.0" in one for one in lost)


def test_substitute_on_timeout() -> None:
    """SWS_Com_00875: the value becomes the substitution value; here after the hold, by choice."""
    minimal = Minimal()
    minimal.run(20)
    set_signal(minimal.sender, "Torque", 120)
    minimal.tick(minimal.state())
    assert minimal.quantity("torque") == (120, Status.VALID, 0)
    minimal.run(5)
    assert minimal.quantity("torque") == (0, Status.STALE, ORIGIN_SUBSTITUTE)


def test_direct_send_on_change_does_not_shift_the_period() -> None:
    """SWS_Com_00734, 00742: a change leaves at once. MIXED keeps its period (from memory)."""
    minimal = Minimal()
    minimal.run(45)
    set_signal(minimal.sender, "Torque", 120)
    changed = minimal.tick(minimal.state())
    minimal.run(20)
    ticks = [tick for tick, _ in minimal.sent]
    grid = [tick for tick in ticks if tick % 10 == 1]
    assert changed in ticks
    assert changed % 10 != 1
    assert grid == list(range(grid[0], grid[-1] + 1, 10))


def test_minimum_delay_postpones_and_merges_but_not_cyclic_sends() -> None:
    """SWS_Com_00388, 00698: postponed to the expiry, as one. 00789: cyclic sends ignore it."""
    minimal = Minimal()
    minimal.run(44)
    before = len(minimal.sent)
    for torque in (20, 40, 60):
        set_signal(minimal.sender, "Torque", torque)
        minimal.tick(minimal.state())
    minimal.run(2)
    first, second = [tick for tick, _ in minimal.sent[before:]]
    assert (first, second) == (44, 47)
    set_signal(minimal.sender, "Torque", 80)
    while minimal.bridge.now % 10 != 0:
        minimal.tick()
    event = minimal.tick(minimal.state())
    minimal.tick()
    assert [tick for tick, _ in minimal.sent[-2:]] == [event, event + 1]
    assert (event + 1) % 10 == 1


def test_frame_counter_within_the_threshold_of_the_expected_one() -> None:
    """SWS_Com_00587, 00588, 00590: (received - expected) mod range <= threshold, first one taken.

    max_step 2 is a threshold of 1.
    """
    for step, taken in ((1, True), (2, True), (3, False), (0, False), (15, False)):
        minimal = Minimal()
        minimal.run(20)
        minimal.sender.counter = 9
        set_signal(minimal.sender, "Torque", 10)
        minimal.tick(minimal.state())
        assert minimal.quantity("torque")[0] == 10
        minimal.sender.counter = (9 + step) % 16
        set_signal(minimal.sender, "Torque", 20)
        minimal.tick(minimal.state())
        assert (minimal.quantity("torque")[0] == 20) is taken


def test_short_frame_gives_only_completely_received_signals() -> None:
    """SWS_Com_00574, 00870: BRAKE of the farm pickup without its last two octets."""
    spec = load(PAIRINGS / "farm_pickup").spec
    bridge = Bridge(spec)
    inputs = driving_inputs(names_of(load(PAIRINGS / "farm_pickup")))
    for _ in range(1000):
        bridge.tick(inputs)
    bridge.receive(Frame(Bus.BODY, False, 280, bytes((0b01, 30))))
    bridge.tick(inputs)
    place = {one.name: index for index, one in enumerate(spec.quantities)}
    assert bridge.quantity(place["brake_pressure"]).value == 30
    assert bridge.quantity(place["brake_pressure"]).status == Status.VALID
    source = next(one for one in spec.sources if one.name.startswith("body.BRAKE.RoadSpeed"))
    assert bridge.field(f"source.{source.name}.status") == Status.NEVER_RECEIVED


def test_routing_takes_the_raw_frame_whatever_the_deadlines_say() -> None:
    """SWS_Com_00701, 00872, 00377: the gateway is not affected by deadline monitoring."""
    bridge = Bridge(load(PAIRINGS / "farm_pickup").spec)
    inputs = driving_inputs(names_of(load(PAIRINGS / "farm_pickup")))
    for _ in range(2000):
        bridge.tick(inputs)
    data = bytes.fromhex("021001AABBCCDDEE")
    bridge.receive(Frame(Bus.BODY, False, 1985, data))
    outputs = bridge.tick(inputs)
    assert Frame(Bus.ENGINE, False, 1985, data) in outputs.frames[Bus.ENGINE]
