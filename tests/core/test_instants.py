"""Instants and wall clocks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from notify.core.errors import Invalid
from notify.core.instants import exists, first_instant, instant, is_ambiguous, jump_between, local, need_aware, zone

pytestmark = pytest.mark.usefixtures("tzdata_only")


def test_a_time_without_a_zone_is_refused_and_the_field_is_named() -> None:
    with pytest.raises(Invalid) as refused:
        need_aware(datetime(2026, 11, 25, 9, 0), field="ready_at")
    assert refused.value.field == "ready_at" and "without a zone" in str(refused.value)


def test_an_aware_time_comes_back_in_utc() -> None:
    given = datetime(2026, 11, 25, 9, 0, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    assert need_aware(given).isoformat() == "2026-11-25T03:30:00+00:00"


@pytest.mark.parametrize(
    "name", ["Europe/Quillhaven", "", "../etc/passwd", "/etc/localtime", "Europe", "Europe/London\n", "\0", "é"]
)
def test_a_bad_zone_is_named_in_the_refusal(name: str) -> None:
    with pytest.raises(Invalid) as refused:
        zone(name)
    assert repr(name) in str(refused.value)


def test_zone_data_are_those_of_2026() -> None:
    """Vancouver stays at UTC-7 after 1 November 2026 (IANA tzdata 2026b and later)."""
    there = local(datetime(2026, 11, 25, 15, 30, tzinfo=UTC), "America/Vancouver")
    assert there.utcoffset() == timedelta(hours=-7)


def test_a_skipped_time_does_not_exist_and_stands_for_the_instant_of_the_jump() -> None:
    london = zone("Europe/London")
    skipped = datetime(2026, 3, 29, 1, 30)
    assert not exists(skipped, london) and not is_ambiguous(skipped, london)
    assert instant(skipped, london) == datetime(2026, 3, 29, 1, 0, tzinfo=UTC)
    assert instant(skipped, london, fold=1) == datetime(2026, 3, 29, 1, 0, tzinfo=UTC)


def test_a_repeated_time_has_two_instants() -> None:
    london = zone("Europe/London")
    twice = datetime(2026, 10, 25, 1, 30)
    assert is_ambiguous(twice, london)
    assert instant(twice, london) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert instant(twice, london, fold=1) == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_a_day_without_a_midnight_begins_when_the_clock_jumps_over_it() -> None:
    """Cairo's clocks go from 24:00 to 01:00 on the last Friday of April (tzdata, since 2023)."""
    begins = first_instant(date(2026, 4, 24), zone("Africa/Cairo"))
    assert begins == datetime(2026, 4, 23, 22, 0, tzinfo=UTC)
    assert begins.astimezone(zone("Africa/Cairo")).hour == 1


def test_a_whole_missing_day_begins_with_the_day_after_it() -> None:
    """Samoa had no 30 December 2011: it moved across the date line (tzdata)."""
    apia = zone("Pacific/Apia")
    assert first_instant(date(2011, 12, 30), apia) == first_instant(date(2011, 12, 31), apia)


def test_the_jump_is_found_to_the_second_from_fractions_of_a_second() -> None:
    early = datetime(2026, 3, 29, 0, 59, 59, 200_000, tzinfo=UTC)
    late = datetime(2026, 3, 29, 1, 0, 0, 300_000, tzinfo=UTC)
    assert jump_between(early, late, zone("Europe/London")) == datetime(2026, 3, 29, 1, 0, tzinfo=UTC)
