"""A source in trouble is looked at again soon, then more and more seldom, and never less than every ten minutes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from notify.core.source_rest import rests

NOON = datetime(2026, 11, 28, 12, tzinfo=UTC)


def looks(hours: int) -> list[float]:
    """The seconds at which a source that fails from the beginning is looked at, when asked every ten."""
    at, found = NOON, [NOON]
    while at < NOON + timedelta(hours=hours):
        at += timedelta(seconds=10)
        if not rests(at, looked_at=found[-1], trouble_since=NOON):
            found.append(at)
    return [(one - NOON).total_seconds() for one in found]


def test_the_time_between_looks_doubles_up_to_ten_minutes() -> None:
    assert looks(1)[:8] == [0, 10, 20, 40, 80, 160, 320, 640]
    assert {later - one for one, later in zip(looks(5)[9:], looks(5)[10:], strict=False)} == {600}


def test_a_source_without_trouble_or_under_a_clock_put_back_never_rests() -> None:
    assert not rests(NOON, looked_at=NOON, trouble_since=None)
    assert not rests(NOON, looked_at=None, trouble_since=None)
    assert not rests(NOON, looked_at=NOON + timedelta(hours=9), trouble_since=NOON)
