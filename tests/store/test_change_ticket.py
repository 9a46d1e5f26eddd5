"""A changed ticket is given back as it was written, without being read again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from notify.core.tickets import Phase
from notify.store import tickets

LATER = datetime(2026, 11, 26, 9, 30, tzinfo=timezone(timedelta(hours=1)))


@pytest.mark.parametrize(
    "columns",
    [
        {"phase": Phase.ON_SHELF, "phase_since": LATER, "outcome": "unrepaired", "reason": "not_repairable"},
        {"promise_at": LATER, "shelf": "B2", "price_agreed": 4500, "deposit": None, "paid": True},
        {"safety": ["hot", "swollen"], "token_hash": "0" * 64, "texts": {"token": "bcdefg", "condition": ""}},
        {"texts": {"device": "Kestrel 2", "fault": "hum", "accessories": "strap"}, "technician_id": None},
    ],
)
def test_a_changed_ticket_equals_the_one_that_is_read(house: Any, columns: dict[str, Any]) -> None:
    ticket_id = house.check_in().ticket_ids[0]
    with house.ctx.db.write(house.shop_id) as unit:
        before = tickets.get_ticket(unit, ticket_id)
        changed = tickets.change_ticket(unit, before, **columns)
        read = tickets.get_ticket(unit, ticket_id)
    assert changed == read and changed != before and read.version == before.version + 1
    moments = (changed.promise_at, changed.phase_since)
    assert all(moment is None or moment.tzinfo is UTC for moment in moments)
