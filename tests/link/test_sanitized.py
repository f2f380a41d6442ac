"""The native board under ASan and UBSan: vectors, garbage and hostile packets find nothing."""

from pathlib import Path
from random import Random

import pytest

from hil.boards.native import NativeBoard
from hil.boards.reference import ReferenceBoard
from hil.comparison import compare
from hil.firmware.building import SANITISED, compile_core
from hil.firmware.programs import BOARDS, LINK
from hil.link.framing import Packet, encode
from hil.link.layouts import Kind
from tests.link.helpers import SMALL_MEMORY, pairings, short_vectors, vector

KINDS = [
    Kind.POLL,
    Kind.ACKNOWLEDGE,
    Kind.WORK,
    Kind.WORK,
    Kind.WORK,
    Kind.STATE,
    Kind.RESTORE,
    0x77,
]


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    more = [*LINK.glob("*.c"), *(BOARDS / "native").glob("*.c")]
    flags = (*SANITISED, f"-I{LINK}", '-DXB_BOARD_NAME="native"', *SMALL_MEMORY)
    pairing = pairings().names("minimal").pairing
    return compile_core(pairing, tmp_path_factory.mktemp("asan"), "xlate_native", flags, more)


@pytest.mark.slow
def test_vectors_are_clean(program: Path) -> None:
    names = pairings().names("minimal")
    board = NativeBoard(names.pairing, program)
    try:
        for path in short_vectors(most=10):
            loaded, _ = vector(str(path))
            assert compare(loaded, names, board).difference is None
    finally:
        board.close()


@pytest.mark.slow
def test_whatever_arrives_is_survived(program: Path) -> None:
    """Octets at random, and packets whose frame and check are right and whose inside is not."""
    chance = Random(5)
    names = pairings().names("minimal")
    board = NativeBoard(names.pairing, program)
    try:
        for _ in range(40):
            nonce = board.session._nonce
            number = 0
            for _ in range(60):
                if chance.random() < 0.2:
                    board.session.port.write(chance.randbytes(chance.randint(1, 400)))
                    continue
                kind = chance.choice(KINDS)
                payload = chance.randbytes(chance.randint(0, 114))
                sequence = number if chance.random() < 0.8 else chance.randrange(65536)
                number += sequence == number and kind >= Kind.WORK
                acknowledge = chance.choice([0, number, chance.randrange(65536)])
                board.session.port.write(
                    b"\0" + encode(Packet(kind, 0, nonce, sequence, acknowledge, payload))
                )
            assert board.process.alive
            board.recover()
            assert board.digest() == ReferenceBoard(names.pairing).digest()
    finally:
        board.close()
