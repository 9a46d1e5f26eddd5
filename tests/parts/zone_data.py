"""Makes zoneinfo read the tzdata package only, as start-up does, for the tests that count on it."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator

import pytest


@pytest.fixture
def tzdata_only() -> Iterator[None]:
    """System zone data may be older than the changes of 2026; what was there before is put back."""
    before = zoneinfo.TZPATH
    zoneinfo.reset_tzpath(to=[])
    zoneinfo.ZoneInfo.clear_cache()
    yield
    zoneinfo.reset_tzpath(to=before)
    zoneinfo.ZoneInfo.clear_cache()
