"""The order of the tests: what takes long is begun first."""

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Declare the marker that decides the order."""
    config.addinivalue_line(
        "markers",
        "long(seconds): takes about so many, ten or more; the longest is begun first, so that no "
        "worker ends alone with it, and what it leaves in the cache is there for the others",
    )


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put tests marked `long` first, the longest before all; else the order stays."""

    def seconds(item: pytest.Item) -> int:
        marker = item.get_closest_marker("long")
        return 0 if marker is None else int(marker.args[0])

    items.sort(key=lambda item: -seconds(item))
