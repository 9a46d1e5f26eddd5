"""The one confirmation of a wish to stop: 47 CFR 64.1200(a)(12); the published cases are in tests/vectors."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.may_confirm import may_confirm

STOPPED = datetime(2026, 10, 25, 0, 58, tzinfo=UTC)  # three minutes later the clock of London goes back


@pytest.mark.parametrize(("seconds", "allowed"), [(0, True), (300, True), (301, False), (86_400, False), (-1, False)])
def test_five_minutes_are_five_minutes_also_when_the_clock_changes(seconds: int, allowed: bool) -> None:
    now = STOPPED + timedelta(seconds=seconds)
    assert may_confirm(stopped_at=STOPPED, now=now, confirmed_before=0) is allowed


def test_one_confirmation_and_no_advertising() -> None:
    assert not may_confirm(stopped_at=STOPPED, now=STOPPED, confirmed_before=1)
    assert not may_confirm(stopped_at=STOPPED, now=STOPPED, confirmed_before=0, marketing=True)
