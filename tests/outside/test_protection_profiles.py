"""Counter-plus-CRC profiles against published examples, sequences, recordings and a library.

Sources, named in short beside the rows:

- AUTOSAR FO PRS_E2EProtocol (table numbers of R23-11) and SWS_E2E_xxxxx for layout, order of the
  CRC's input and check functions; the examples have a zero payload;
- the package autosar-e2e 1.0.0 (PyPI), called as an oracle on random payloads and for its rows;
- check and state-machine sequences as the openly published Arctic Core 4.3 sources answer them
  when compiled and run (only these answers are here);
- recorded frames published with opendbc 0.3.1 (PyPI), see test_log_recorded_frames.py.

Frames of 16 octets are beyond a classic frame: there only the order of the CRC's input is checked.
"""

import random

import pytest
from e2e import p01, p02, p05, p11

from tests.outside.test_log_recorded_frames import RECORDED
from xlate_core.protection import (
    CRC_CATALOGUE,
    CheckResult,
    ChecksumSpec,
    LimitSpec,
    MachineSpec,
    MachineState,
    ProfileSpec,
    ProfileState,
    check_frame,
    checksum_good,
    crc_function,
    seal,
)
from xlate_core.protection.machine import Finding
from xlate_core.protection.profiles import (
    check_silence,
    checksum_of,
    counter_of,
    finding,
    step_machine,
)
from xlate_core.signals import ByteOrder, SignalSpec, extract, insert

ONE_TO_SIXTEEN = tuple(range(1, 17))
MODES = {
    "both": p01.E2E_P01_DATAID_BOTH,
    "alternating": p01.E2E_P01_DATAID_ALT,
    "low": p01.E2E_P01_DATAID_LOW,
    "nibble": p01.E2E_P01_DATAID_NIBBLE,
}


def field(name: str, start: int, length: int) -> SignalSpec:
    return SignalSpec(name, start, length, ByteOrder.INTEL, signed=False)


NIBBLE = field("IdHigh", 12, 4)


def profile(number: int, mode: str, *data_ids: int, length: int = 8) -> ProfileSpec:
    """The profile at the start of the payload, as all examples below have it."""
    wide = number == 5
    crc = field("Crc", 0, 16 if wide else 8)
    counter = field("Counter", 16, 8) if wide else field("Counter", 8, 4)
    return ProfileSpec(
        number=number,
        checksum=checksum_of(number, mode, crc, counter, length, data_ids),
        counter=counter_of(number, counter),
        period=1,
        clock=0,
        nibble=NIBBLE if mode == "nibble" else None,
        nibble_value=data_ids[0] >> 8 & 0xF if mode == "nibble" else 0,
    )


def protect(spec: ProfileSpec, data: bytes, counter: int) -> bytes:
    if spec.nibble is not None:
        data = insert(spec.nibble, data, spec.nibble_value)
    return seal(spec.counter, spec.checksum, data, counter)


# PUBLISHED EXAMPLES: profile, mode, data ID, counter, frame of zero payload.

EXAMPLES = [
    (1, "both", 0x0123, 0, "cc00000000000000"),  # autosar-e2e 1.0.0
    (1, "both", 0x0123, 1, "9101000000000000"),  # autosar-e2e 1.0.0
    (1, "alternating", 0x0123, 1, "0201000000000000"),  # autosar-e2e 1.0.0
    (1, "low", 0x0123, 0, "ce00000000000000"),  # autosar-e2e 1.0.0
    (1, "nibble", 0x0123, 0, "2a10000000000000"),  # autosar-e2e 1.0.0
    (1, "nibble", 0x0123, 1, "7711000000000000"),  # autosar-e2e 1.0.0
    (11, "both", 0x0123, 0, "cc00000000000000"),  # PRS_E2EProtocol, table 6.86
    (11, "nibble", 0x0123, 0, "2a10000000000000"),  # PRS_E2EProtocol, table 6.86
    (11, "nibble", 0x0123, 1, "7711000000000000"),  # PRS_E2EProtocol, table 6.86
    (5, "", 0x1234, 1, "cf8d010000000000"),  # autosar-e2e 1.0.0
]
LISTED = [  # PRS_E2EProtocol, table 6.101: data IDs 1..16, offset 0; profile 2 is the same
    (1, "1b01000000000000"),
    (2, "9802000000000000"),
    (4, "0d04000000000000"),
    (5, "1805000000000000"),
    (7, "6507000000000000"),
    (8, "0808000000000000"),
    (10, "9e0a000000000000"),
    (11, "370b000000000000"),
    (13, "1e0d000000000000"),
    (14, "9d0e000000000000"),
    (0, "0e00000000000000"),
]


@pytest.mark.parametrize(("number", "mode", "data_id", "counter", "frame"), EXAMPLES)
def test_published_example(number: int, mode: str, data_id: int, counter: int, frame: str) -> None:
    spec = profile(number, mode, data_id)
    assert protect(spec, bytes(8), counter).hex() == frame
    assert checksum_good(spec.checksum, bytes.fromhex(frame))


@pytest.mark.parametrize(("counter", "frame"), LISTED)
@pytest.mark.parametrize("number", [2, 22])
def test_published_example_with_a_list(number: int, counter: int, frame: str) -> None:
    spec = profile(number, "", *ONE_TO_SIXTEEN)
    assert protect(spec, bytes(8), counter).hex() == frame


# 16 octets with the header in octet 8: the input of the CRC is what stands before and behind it.
LONG = [
    (1, "nibble", (0x0123,), 1, "00000000000000002011000000000000"),  # autosar-e2e 1.0.0
    (11, "nibble", (0x0123,), 1, "00000000000000002011000000000000"),  # autosar-e2e 1.0.0
    (5, "", (0x1234,), 0, "00000000000000002891000000000000"),  # PRS_E2EProtocol, table 6.51
    (22, "", ONE_TO_SIXTEEN, 1, "00000000000000001401000000000000"),  # table 6.102
    # the following four by the same rule, recomputed independently
    (22, "", ONE_TO_SIXTEEN, 3, "00000000000000003e03000000000000"),
    (22, "", ONE_TO_SIXTEEN, 7, "00000000000000006a07000000000000"),
    (22, "", ONE_TO_SIXTEEN, 15, "0000000000000000c20f000000000000"),
    (22, "", ONE_TO_SIXTEEN, 0, "00000000000000000100000000000000"),
]


@pytest.mark.parametrize(("number", "mode", "data_ids", "counter", "frame"), LONG)
def test_order_of_the_crc_input(
    number: int, mode: str, data_ids: tuple[int, ...], counter: int, frame: str
) -> None:
    spec = profile(number, mode, *data_ids).checksum
    octets, size = bytes.fromhex(frame), 2 if number == 5 else 1
    behind = bytes((data_ids[counter],)) if number == 22 else spec.after
    assert spec.crc is not None
    crc = crc_function(spec.crc)(spec.before + octets[:8] + octets[8 + size :] + behind)
    assert crc == int.from_bytes(octets[8 : 8 + size], "little")


# 32 octets, header at the start (autosar-e2e 1.0.0): data ID, frame.
LONG_5 = [
    (0xCBEB, "6af07e165c678ecce3ef320eda654556714d77a21cf2d003bd08477d220b1715"),
    (0x8163, "0e4da8f91435a1ac765dfe87a7585d8822e624a363f404937e1d8c78345a8bbe"),
]


@pytest.mark.parametrize(("data_id", "frame"), LONG_5)
def test_long_frame_of_profile_5(data_id: int, frame: str) -> None:
    spec, octets = profile(5, "", data_id).checksum, bytes.fromhex(frame)
    assert spec.crc is not None
    crc = crc_function(spec.crc)(octets[2:] + spec.after)
    assert crc == int.from_bytes(octets[:2], "little")


def test_profile_5_stores_its_crc_least_octet_first() -> None:
    """Sources disagree: the document's example, this package and recorded use are little endian.

    Others store big endian; that spelling is no frame of ours.
    """
    spec = profile(5, "", 0x1234)
    frame = protect(spec, bytes(8), 1)
    assert frame[:2] == b"\xcf\x8d"
    assert not checksum_good(spec.checksum, frame[1::-1] + frame[2:])


def test_profiles_1_and_11_start_from_zero() -> None:
    """The examples need start and final value 0, not those of CRC-8/SAE-J1850."""
    octets = bytes.fromhex("2301") + bytes(7)
    assert crc_function(CRC_CATALOGUE["CRC-8/SAE-J1850-ZERO"])(octets) == 0xCC
    assert crc_function(CRC_CATALOGUE["CRC-8/SAE-J1850"])(octets) != 0xCC


# NON-ZERO PAYLOADS (autosar-e2e 1.0.0): the counter counts on before the frame is sealed.

PAYLOADS = [
    (1, "both", "1e35", "746379c84295ebda", "696479c84295ebda"),
    (1, "alternating", "1e35", "746379c84295ebda", "ab6479c84295ebda"),
    (1, "nibble", "0e35", "746379c84295ebda", "4ce479c84295ebda"),
    (1, "both", "6c88", "5135f46f8860da13", "8536f46f8860da13"),
    (1, "low", "6c88", "5135f46f8860da13", "d636f46f8860da13"),
    (1, "nibble", "0c88", "5135f46f8860da13", "fec6f46f8860da13"),
    (1, "alternating", "f9a3", "6ae04ad3da918256", "17e14ad3da918256"),
    (1, "low", "f9a3", "6ae04ad3da918256", "ace14ad3da918256"),
    (1, "both", "20d0", "a5e8b4964020e6f2", "11e9b4964020e6f2"),
    (1, "alternating", "20d0", "a5e8b4964020e6f2", "87e9b4964020e6f2"),
    (1, "nibble", "00d0", "a5e8b4964020e6f2", "2e09b4964020e6f2"),
    (1, "both", "e6cf", "4f9ab08d13e0e0a7", "229bb08d13e0e0a7"),
    (1, "low", "e6cf", "4f9ab08d13e0e0a7", "319bb08d13e0e0a7"),
    (1, "nibble", "06cf", "4f9ab08d13e0e0a7", "996bb08d13e0e0a7"),
    (1, "alternating", "5e9e", "420769ff9490dc35", "740869ff9490dc35"),
    (1, "low", "5e9e", "420769ff9490dc35", "740869ff9490dc35"),
    (2, "", "0c95d479434e3416442339a3d9985767", "f10d6aa3f84a25a2", "c50e6aa3f84a25a2"),
    (2, "", "481b40506ec50410353a609b6a78af89", "32ef5117dc6dedcf", "63e05117dc6dedcf"),
    (2, "", "ef8cd6616940f4bb57c2362f6385402e", "ad3a62978c24d59e", "ab3b62978c24d59e"),
    (5, "", "787b", "1e3ab22665aafdd6", "d5a7b32665aafdd6"),
]


def ids_of(number: int, text: str) -> tuple[int, ...]:
    return tuple(bytes.fromhex(text)) if number in (2, 22) else (int(text, 16),)


@pytest.mark.parametrize(("number", "mode", "data_ids", "given", "frame"), PAYLOADS)
def test_payload_of_the_library(
    number: int, mode: str, data_ids: str, given: str, frame: str
) -> None:
    spec, data = profile(number, mode, *ids_of(number, data_ids)), bytes.fromhex(given)
    counter = (extract(spec.counter.signal, data) + 1) % spec.counter.modulo
    assert protect(spec, data, counter).hex() == frame


# RANDOM PAYLOADS against the library, which is asked for the frame and for its verdict.


def random_frames(seed: str) -> list[tuple[bytes, int]]:
    chance = random.Random(seed)
    return [(chance.randbytes(chance.randrange(3, 9)), chance.getrandbits(16)) for _ in range(300)]


@pytest.mark.parametrize("mode", MODES)
def test_profile_1_against_the_library(mode: str) -> None:
    for octets, number in random_frames(mode):
        data_id = number & {"low": 0xFF, "nibble": 0xFFF}.get(mode, 0xFFFF)
        data = octets[:1] + bytes((octets[1] & 0xF0 | octets[1] % 15,)) + octets[2:]
        spec = profile(1, mode, data_id, length=len(data))
        theirs = bytearray(data)
        if mode == "nibble":  # the library expects the sender's nibble in its place
            theirs[1] = theirs[1] & 0x0F | data_id >> 8 << 4
        p01.e2e_p01_protect(theirs, data_id, data_id_mode=MODES[mode], increment_counter=False)
        ours = protect(spec, data, data[1] & 0xF)
        assert ours == bytes(theirs)
        assert p01.e2e_p01_check(bytearray(ours), data_id, data_id_mode=MODES[mode])
        assert checks_as(spec, data, p01.e2e_p01_check(bytearray(data), data_id, **id_mode(mode)))


def id_mode(mode: str) -> dict[str, int]:
    return {"data_id_mode": MODES[mode]}


def checks_as(spec: ProfileSpec, data: bytes, verdict: bool) -> bool:
    """Whether the check of a frame agrees with another's verdict about its CRC."""
    result = check_frame(spec, ProfileState(), data)
    return (result != CheckResult.WRONG_CRC) == verdict


@pytest.mark.parametrize(
    ("mode", "library_mode"),
    [("both", p11.E2E_P11_DATAID_BOTH), ("nibble", p11.E2E_P11_DATAID_NIBBLE)],
)
def test_profile_11_against_the_library(mode: str, library_mode: int) -> None:
    for octets, number in random_frames(mode):
        data_id = number & (0xFFF if mode == "nibble" else 0xFFFF)
        data = octets[:1] + bytes((octets[1] & 0xF0 | octets[1] % 15,)) + octets[2:]
        spec = profile(11, mode, data_id, length=len(data))
        ours = protect(spec, data, data[1] & 0xF)
        assert p11.e2e_p11_check(bytearray(ours), data_id, data_id_mode=library_mode)
        theirs = bytearray(b"\0" + ours[1:])
        p11.e2e_p11_protect(theirs, data_id, data_id_mode=library_mode, increment_counter=False)
        assert bytes(theirs) == ours


def test_profile_2_against_the_library() -> None:
    for octets, number in random_frames("2"):
        data_ids = random.Random(number).randbytes(16)
        spec = profile(2, "", *data_ids, length=len(octets))
        theirs = bytearray(octets)
        p02.e2e_p02_protect(theirs, data_ids, length=len(octets), increment_counter=False)
        ours = protect(spec, octets, octets[1] & 0xF)
        assert ours == bytes(theirs)
        assert checks_as(spec, octets, p02.e2e_p02_check(octets, data_ids, length=len(octets)))


def test_profile_5_against_the_library() -> None:
    for octets, data_id in random_frames("5"):
        spec = profile(5, "", data_id, length=len(octets))
        theirs = bytearray(octets)
        p05.e2e_p05_protect(theirs, data_id, increment_counter=False)
        ours = protect(spec, octets, octets[2])
        assert ours == bytes(theirs)
        assert checks_as(spec, octets, p05.e2e_p05_check(octets, data_id))


# RECORDED FRAMES of production cars, profile 2.


@pytest.mark.parametrize(("message", "identifier", "data_ids", "frames"), RECORDED)
def test_recorded_frames_are_checked_as_their_cars_do(
    message: str, identifier: int, data_ids: str, frames: str
) -> None:
    del message, identifier
    spec, state = profile(2, "", *bytes.fromhex(data_ids)), ProfileState()
    recorded = [bytes.fromhex(frame) for frame in frames.split()]
    results = [check_frame(spec, state, data) for data in recorded]
    assert results == [CheckResult.INITIAL] + [CheckResult.OK] * 15
    for counter, data in enumerate(recorded):
        assert protect(spec, b"\0" + data[1:], counter) == data
        assert check_frame(spec, state, bytes((data[0] ^ 1,)) + data[1:]) == CheckResult.WRONG_CRC


# RECEIVER SEQUENCES (Arctic Core 4.3, E2E_P02Check and E2E_P05Check; SWS_E2E_00135 and following).
# A number is a counter, X a wrong CRC, - no new data.

RESULTS = {
    "O": CheckResult.OK,
    "L": CheckResult.SOME_LOST,
    "R": CheckResult.REPEATED,
    "W": CheckResult.WRONG_SEQUENCE,
    "X": CheckResult.WRONG_CRC,
    "N": CheckResult.NO_NEW_DATA,
    "I": CheckResult.INITIAL,
    "S": CheckResult.SYNC,
}

# Largest step, checks without new data allowed, SYNC frames; received; results.
GROWING = [
    (1, 2, 2, "0 1 2 4 5 6 7 7 8 9", "IOOLOOOROO"),
    (2, 2, 1, "5 6 8 8 11 12 13 14 15 0 1", "IOLRLOOOOOO"),
    (1, 2, 0, "14 15 0 X 1 2 X X X 6", "IOOXOOXXXL"),
    (4, 3, 2, "0 3 3 3 3 3 4 5 6 7", "ILRRRRSSSO"),
    (2, 0, 1, "0 1 1 2 3 4 5", "IORSSOO"),
    (1, 3, 3, "7 8 12 13 14 15 0 1", "IOWSSSOO"),
]
FOLLOWING = [
    (1, "0 1 2 2 4 5 255 0", "OOORWOWO"),
    (3, "1 2 5 9 9 10 X 11 - 12", "LOLWROXONO"),
    (5, "4 10 15 16 16 X X 20 26", "LWLORXXLW"),
    (1, "0 - - 1 3 4 4", "ONNOWOR"),
]


def answers(spec: ProfileSpec, received: str) -> str:
    letters = {result: letter for letter, result in RESULTS.items()}
    state, found = ProfileState(), ""
    for word in received.split():
        if word == "-":
            check_silence(spec, state)
        else:
            data = protect(spec, bytes(8), 0 if word == "X" else int(word))
            check_frame(spec, state, bytes((data[0] ^ (word == "X"),)) + data[1:])
        found += letters[CheckResult(state.result)]
    return found


@pytest.mark.parametrize(("step", "stalled", "sync", "received", "results"), GROWING)
def test_sequence_of_profile_2(
    step: int, stalled: int, sync: int, received: str, results: str
) -> None:
    base = profile(2, "", *ONE_TO_SIXTEEN)
    counter = counter_of(2, base.counter.signal, step)
    spec = ProfileSpec(2, base.checksum, counter, 1, 0, None, 0, stalled, sync)
    assert answers(spec, received) == results


@pytest.mark.parametrize(("step", "received", "results"), FOLLOWING)
def test_sequence_of_profile_5(step: int, received: str, results: str) -> None:
    base = profile(5, "", 0x1234)
    spec = ProfileSpec(5, base.checksum, counter_of(5, base.counter.signal, step), 1, 0)
    assert answers(spec, received) == results


# STATE MACHINE (Arctic Core 4.3, E2E_SMCheck; SWS_E2E_00345/00466/00467): window; least good and
# most errors for INIT, VALID, INVALID; O ok, R repeated, W wrong sequence, E error, N no new data.

SEQUENCES = [
    ((5, 1, 1, 1, 1, 1, 1), "OOEEOOOOOOO", "IVVXXXXVVVV"),
    ((10, 3, 0, 1, 2, 3, 0), "NNOOOOEEEOOOOOOOOOOOOOO", "NNIIIVVVXXXXXXXXXXVVVVV"),
    ((6, 2, 0, 1, 1, 2, 0), "RWOOENENOOOOOOOO", "IIIVVVXXXXXXVVVV"),
    ((3, 2, 0, 1, 1, 2, 0), "OONNNNOO", "IIIIIIIV"),
    ((1, 1, 0, 1, 0, 1, 0), "OOEOOREO", "IVXVVXXV"),
    ((2, 1, 1, 1, 1, 2, 0), "NENOOEEOOO", "NNNIVVXXVV"),
    ((10, 1, 10, 1, 10, 1, 10), "EEEEOEEEEO", "NNNNIIIIIV"),
]
FOUND = {
    "O": Finding.GOOD,
    "R": Finding.OTHER,
    "W": Finding.OTHER,
    "E": Finding.ERROR,
    "N": Finding.SILENCE,
}
STATES = {
    "N": MachineState.NO_DATA,
    "I": MachineState.INIT,
    "V": MachineState.VALID,
    "X": MachineState.INVALID,
}


@pytest.mark.parametrize(("limits", "found", "states"), SEQUENCES)
def test_sequence_of_the_state_machine(limits: tuple[int, ...], found: str, states: str) -> None:
    window, *rest = limits
    init, valid, invalid = (LimitSpec(*rest[at : at + 2]) for at in (0, 2, 4))
    spec = MachineSpec(window, init, valid, invalid)
    state, seen = ProfileState(), []
    for letter in found:
        step_machine(spec, state, FOUND[letter])
        seen.append(MachineState(state.machine))
    assert seen == [STATES[letter] for letter in states]


# WHAT RESULTS MEAN TO THE MACHINE (SWS_E2E_00380/00383 the newer, 00476/00477 the older mapping).

MAPPING = [
    (CheckResult.OK, Finding.GOOD, Finding.GOOD),
    (CheckResult.SOME_LOST, Finding.GOOD, Finding.GOOD),
    (CheckResult.SYNC, Finding.GOOD, Finding.OTHER),
    (CheckResult.INITIAL, Finding.OTHER, Finding.GOOD),
    (CheckResult.REPEATED, Finding.OTHER, Finding.OTHER),
    (CheckResult.NO_NEW_DATA, Finding.SILENCE, Finding.SILENCE),
    (CheckResult.WRONG_SEQUENCE, Finding.OTHER, Finding.OTHER),
    (CheckResult.WRONG_CRC, Finding.ERROR, Finding.ERROR),
]


@pytest.mark.parametrize(("result", "newer", "older"), MAPPING)
def test_mapping(result: CheckResult, newer: Finding, older: Finding) -> None:
    limit = LimitSpec(1, 1)
    assert finding(MachineSpec(1, limit, limit, limit), result) == newer
    assert finding(MachineSpec(1, limit, limit, limit, older_mapping=True), result) == older


def test_a_plain_checksum_serves_where_it_can() -> None:
    """Profile 1 with both octets is an ordinary CRC with a folded data ID, in the fast form too."""
    spec: ChecksumSpec = profile(1, "both", 0x0123).checksum
    assert spec.plain
