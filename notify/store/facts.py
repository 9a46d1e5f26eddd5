"""Today's facts about whom a visit's messages go to, and by which ways."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from notify.core.events import Event
from notify.core.planner import Facts
from notify.core.rules import rings
from notify.store import people, visits
from notify.store.database import Unit
from notify.store.rings import rings_for
from notify.store.visits import Company


def gather(
    unit: Unit,
    visit_id: str,
    *,
    channels_on: frozenset[str],
    bell: timedelta,
    expires: Mapping[str, datetime] | None = None,
    company: Company | None = None,
    event: Event | None = None,
) -> Facts:
    """What the planner and the second look need to know; no address is opened.

    `company` is who is in the visit, where the caller has read that already; `event` is what happened, for
    which the shop's own bell may ring.
    """
    company = company or visits.company(unit, visit_id)
    facts = Facts(
        tell=people.recipients(unit, company.roles.get("tell", ())),
        channels_on=channels_on,
        bell=bell,
        waits_here=company.waits_here,
        device_with_us=company.device_with_us,
        expires=dict(expires or {}),
    )
    if event is None or not rings(event.kind):
        return facts
    return replace(facts, rings=rings_for(unit, event, channels_on=channels_on))
