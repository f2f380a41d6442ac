"""What the tests of the C core share."""

import os

import pytest

from tests.firmware.cores import Cores


@pytest.fixture(scope="session")
def cores(tmp_path_factory: pytest.TempPathFactory) -> Cores:
    """Cores whose objects all workers of the run share."""
    base = tmp_path_factory.getbasetemp()
    is_worker = "PYTEST_XDIST_WORKER" in os.environ
    return Cores((base.parent if is_worker else base) / "cores")
