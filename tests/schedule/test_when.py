"""When jobs are due: on a grid, each night by the shop's clock, and never because a clock jumped."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notify.schedule.when import Every, Nightly, last_due

AT = time(3, 30)
INSTANTS = st.datetimes(datetime(2026, 1, 2), datetime(2030, 1, 1), timezones=st.just(UTC))


def _nightly(now: datetime, zone: str = "Europe/London") -> datetime:
    return last_due(Nightly(), now, zone_name=zone, nightly_at=AT)


@given(now=INSTANTS, seconds=st.integers(1, 90_000))
def test_a_job_on_the_grid_was_due_no_longer_ago_than_its_step(now: datetime, seconds: int) -> None:
    due = last_due(Every(seconds), now, zone_name="UTC", nightly_at=AT)
    assert due <= now < due + timedelta(seconds=seconds)
    assert last_due(Every(seconds), due, zone_name="UTC", nightly_at=AT) == due


@pytest.mark.parametrize("zone", ["Europe/London", "America/St_Johns", "Pacific/Chatham", "Asia/Kathmandu"])
@given(now=INSTANTS)
def test_a_nightly_job_was_due_within_the_last_day_and_an_hour(zone: str, now: datetime) -> None:
    due = _nightly(now, zone)
    assert timedelta(0) <= now - due < timedelta(hours=25)
    local = due.astimezone(ZoneInfo(zone))
    # Chatham skips 02:45 to 03:45 once a year: that night the job is due at the jump.
    meant = datetime.combine(local.date(), AT, ZoneInfo(zone))
    skipped = meant.astimezone(UTC).astimezone(ZoneInfo(zone)).time() != AT
    assert local.time() == AT or (skipped and local.time() == time(3, 45))


def test_the_night_in_which_the_clock_skips_the_hour_still_has_its_run() -> None:
    # Europe/Berlin, 29 March 2026: 02:00 becomes 03:00 (tzdata 2026), so 02:30 does not exist.
    now = datetime(2026, 3, 29, 10, tzinfo=UTC)
    due = last_due(Nightly(), now, zone_name="Europe/Berlin", nightly_at=time(2, 30))
    assert due == datetime(2026, 3, 29, 1, tzinfo=UTC)
