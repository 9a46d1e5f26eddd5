"""Fixtures for all tests; each lives in its own file under parts/."""

from __future__ import annotations

import pytest

from tests.parts.clock import FakeClock

pytest_plugins = (
    "tests.parts.quick_disk",
    "tests.parts.figures",
    "tests.parts.zone_data",
    "tests.parts.loopback_only",
    "tests.parts.log_ear",
    "tests.parts.certificates",
    "tests.parts.databases",
    "tests.parts.turns",
    "tests.parts.mariadb",
    "tests.parts.foreign",
    "tests.parts.house",
    "tests.parts.full_shop",
    "tests.parts.live",
    "tests.parts.smtp_server",
    "tests.parts.imap_server",
    "tests.parts.mta",
    "tests.parts.browser",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that start servers and browsers begin first, so that no worker waits at the end for a long one."""
    rank = {"real": 2, "long": 1}
    of_file: dict[str, int] = {}
    for item in items:
        found = max((rank.get(mark.name, 0) for mark in item.iter_markers()), default=0)
        of_file[item.path.as_posix()] = max(found, of_file.get(item.path.as_posix(), 0))
    items.sort(key=lambda item: -of_file[item.path.as_posix()])


@pytest.fixture
def clock() -> FakeClock:
    """A settable clock: call it for the aware UTC instant, `.advance(seconds)` to move it."""
    return FakeClock()
