"""The order of the tests: what takes long is begun first."""

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Declare the marker that decides the order."""
    config.addinivalue_line(
        "markers", "long: takes more than about ten seconds; begun first, so that none ends alone"
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put tests marked `long` first, else the order stays: the workers then end at one time."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)
