"""Today's facts about whom a visit's messages go to, and by which ways."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from notify.core.planner import Facts
from notify.store import people, visits
from notify.store.database import Unit
from notify.store.visits import Company


def gather(
    unit: Unit,
    visit_id: str,
    *,
    channels_on: frozenset[str],
    bell: timedelta,
    expires: Mapping[str, datetime] | None = None,
    company: Company | None = None,
) -> Facts:
    """What the planner and the second look need to know; no address is opened.

    `company` is who is in the visit, where the caller has read that already.
    """
    company = company or visits.company(unit, visit_id)
    return Facts(
        tell=people.recipients(unit, company.roles.get("tell", ())),
        channels_on=channels_on,
        bell=bell,
        waits_here=company.waits_here,
        device_with_us=company.device_with_us,
        expires=dict(expires or {}),
    )
