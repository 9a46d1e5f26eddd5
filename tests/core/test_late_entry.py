"""Times that are entered later than they happened: how far ahead and back a time may lie."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.errors import Invalid
from notify.core.late_entry import need_past

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


# Two minutes and thirty days: common practice, no source (core/late_entry).
@pytest.mark.parametrize(("off", "found"), [
    (timedelta(0), NOW), (timedelta(minutes=2), NOW), (-timedelta(days=30), NOW - timedelta(days=30)),
    (timedelta(minutes=2, seconds=1), None), (-timedelta(days=30, seconds=1), None),
])  # fmt: skip
def test_a_time_lies_neither_ahead_nor_more_than_thirty_days_back(off: timedelta, found: datetime | None) -> None:
    if found is not None:
        assert need_past(NOW + off, now=NOW, field="at") == found
        return
    with pytest.raises(Invalid) as refused:
        need_past(NOW + off, now=NOW, field="at")
    assert refused.value.field == "at"
