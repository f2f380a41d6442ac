"""The C core under the address and undefined-behaviour sanitizers, with the reference's digests."""

import random
import struct
import subprocess
from pathlib import Path

import pytest

from hil.boards.interface import BoardError
from hil.firmware.building import SANITISED
from hil.firmware.toolchains import WARNINGS
from tests.core.test_bridge import NAMES, PAIRINGS, bridge_of, random_stimulus, step
from tests.firmware.cores import Cores
from tools.environment import C_COMPILER
from xlate_core.bridge import Inputs, ResetCause
from xlate_core.frames import Bus, Frame
from xlate_core.pairing import load

pytestmark = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)

DRIVER = Path(__file__).with_name("driver.c")
TICKS = 4000


def frame_record(frame: Frame, source: random.Random) -> bytes:
    """A full frame comes with any of the raw length codes that mean 8 octets (rule 6)."""
    code = len(frame.data) if len(frame.data) < 8 else source.randrange(8, 16)
    head = struct.pack("<cIBBB", b"F", frame.identifier, frame.bus, frame.extended, code)
    return head + frame.data.ljust(8, b"\xee")


def tick_record(inputs: Inputs) -> bytes:
    counts = struct.pack(f"<{len(inputs.counts)}H", *inputs.counts)
    buses = b"".join(bytes(given) for given in inputs.buses)
    return struct.pack("<cI", b"T", inputs.supply_mv) + bytes(inputs.levels) + counts + buses


def build(name: str, cores: Cores, folder: Path) -> Path:
    flags = (*WARNINGS, *SANITISED, "-O0")  # nothing is optimised away, and built sooner
    try:
        objects = cores.objects(load(PAIRINGS / name), folder, flags, DRIVER)
        return cores.link(objects.values(), folder / "driver", SANITISED)
    except BoardError as error:
        if "cannot find" in str(error):
            pytest.skip("the C compiler has no sanitizers. Debian: apt-get install gcc libc6-dev")
        raise


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_the_sanitizers_find_nothing_and_digests_agree(
    name: str, cores: Cores, tmp_path: Path
) -> None:
    driver = build(name, cores, tmp_path)
    bridge, source = bridge_of(name), random.Random(name)
    stream, expected = bytearray(), bytearray()
    for tick, (frames, inputs) in enumerate(random_stimulus(bridge, 900, TICKS)):
        if tick % 1500 == 1499:
            bridge.reset(ResetCause.COMMANDED, bridge.kept())
            stream += b"R"
        offered = frames if tick // 400 % 2 == 0 else []
        step(bridge, offered, inputs)
        for frame in offered:
            stream += frame_record(frame, source)
        stream += tick_record(inputs)
        expected += struct.pack("<I", bridge.digest())
    done = subprocess.run([str(driver)], input=bytes(stream), capture_output=True, check=False)
    assert done.stderr == b"", done.stderr.decode("utf-8", "replace")
    assert done.returncode == 0
    assert done.stdout == bytes(expected)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["minimal", "long_nights"])
def test_a_frame_of_a_bus_that_is_not_there_changes_nothing(
    name: str, cores: Cores, tmp_path: Path
) -> None:
    driver = build(name, cores, tmp_path)
    bridge = bridge_of(name)
    _, inputs = next(random_stimulus(bridge, 900, 1))
    known = bridge.spec.messages[0].key.identifier
    stream = b"".join(
        struct.pack("<cIBBB8x", b"F", known, bus, 0, 8) for bus in (len(Bus), len(Bus) + 1, 255)
    )
    step(bridge, [], inputs)
    done = subprocess.run(
        [str(driver)], input=stream + tick_record(inputs), capture_output=True, check=False
    )
    assert done.stderr == b"", done.stderr.decode("utf-8", "replace")
    assert done.stdout == struct.pack("<I", bridge.digest())
