"""Quiet hours, beside the cases of the vector file."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.core.instants import zone
from notify.core.quiet import allowed_at

pytestmark = pytest.mark.usefixtures("tzdata_only")

ZONES = ["Europe/London", "America/New_York", "Australia/Lord_Howe", "Africa/Cairo", "Asia/Kathmandu"]
MINUTES = st.integers(min_value=0, max_value=24 * 60 - 1).map(lambda n: time(n // 60, n % 60))
# Two days on either side of a clock change in one or other of the zones, to the minute.
CHANGES = [datetime(2026, 3, 29, 1), datetime(2026, 10, 25, 1), datetime(2026, 4, 23, 22), datetime(2026, 10, 3, 15)]
MOMENTS = st.builds(
    lambda change, minutes: change.replace(tzinfo=UTC) + timedelta(minutes=minutes),
    st.sampled_from(CHANGES),
    st.integers(min_value=-1500, max_value=1500),
)


@given(
    now=MOMENTS,
    zones=st.lists(st.sampled_from(ZONES), min_size=1, max_size=2),
    start=MINUTES,
    length=st.integers(min_value=1, max_value=11 * 60),
)
@settings(max_examples=150, deadline=None)
def test_the_answer_is_the_first_minute_at_which_no_zone_is_quiet(
    now: datetime, zones: list[str], start: time, length: int
) -> None:
    """Against walking minute by minute; clocks change on whole minutes in these zones and years."""
    end_minute = (start.hour * 60 + start.minute + length) % (24 * 60)
    end = time(end_minute // 60, end_minute % 60)

    def quiet(moment: datetime) -> bool:
        clocks = [moment.astimezone(zone(name)) for name in zones]
        since = [(c.hour * 60 + c.minute - start.hour * 60 - start.minute) % (24 * 60) for c in clocks]
        return any(minutes < length for minutes in since)

    walked = now
    while quiet(walked) and walked - now < timedelta(days=3):
        walked += timedelta(minutes=1)
    if walked - now < timedelta(days=3):
        assert allowed_at(now, zones=zones, quiet_from=start, quiet_until=end) == walked


def test_a_clock_set_back_out_of_the_quiet_hours_ends_them() -> None:
    """Quiet from 01:30; at 02:00 summer time London's clock shows 01:00 again."""
    at = allowed_at(
        datetime(2026, 10, 25, 0, 45, tzinfo=UTC),
        zones=["Europe/London"],
        quiet_from=time(1, 30),
        quiet_until=time(8),
    )
    assert at == datetime(2026, 10, 25, 1, 0, tzinfo=UTC)


def test_both_edges_of_a_window_within_the_day_are_half_open() -> None:
    for clock, waits in ((time(11, 59, 59), False), (time(12), True), (time(13, 59, 59), True), (time(14), False)):
        now = datetime.combine(datetime(2026, 1, 15), clock, tzinfo=UTC)
        at = allowed_at(now, zones=["Europe/London"], quiet_from=time(12), quiet_until=time(14))
        assert at == (datetime(2026, 1, 15, 14, 0, tzinfo=UTC) if waits else now)


def test_zones_that_are_never_awake_together_are_refused_with_their_names() -> None:
    with pytest.raises(Invalid) as refused:
        allowed_at(
            datetime(2026, 6, 1, 12, 0, tzinfo=UTC),
            zones=["Europe/London", "Pacific/Auckland"],
            quiet_from=time(20),
            quiet_until=time(9),
        )
    assert "Europe/London, Pacific/Auckland" in str(refused.value)


def test_no_zone_a_bad_zone_and_a_naive_time_are_refused() -> None:
    now = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
    for zones, moment in (([], now), (["Mars/Base"], now), (["Europe/London"], now.replace(tzinfo=None))):
        with pytest.raises(Invalid):
            allowed_at(moment, zones=zones, quiet_from=time(21), quiet_until=time(8))
