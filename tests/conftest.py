"""Fixtures for all tests; each lives in its own file under parts/."""

from __future__ import annotations

import pytest

from tests.parts.clock import FakeClock

pytest_plugins = (
    "tests.parts.figures",
    "tests.parts.zone_data",
    "tests.parts.loopback_only",
    "tests.parts.certificates",
    "tests.parts.databases",
    "tests.parts.house",
    "tests.parts.full_shop",
    "tests.parts.live",
    "tests.parts.smtp_server",
    "tests.parts.imap_server",
    "tests.parts.mta",
    "tests.parts.browser",
)


@pytest.fixture
def clock() -> FakeClock:
    """A settable clock: call it for the aware UTC instant, `.advance(seconds)` to move it."""
    return FakeClock()
