"""When a person may be written to: the shop's telling hours, in every zone in which they may be."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field
from datetime import datetime

from notify.core.number_zones import zones_of
from notify.core.planner import Recipient
from notify.core.quiet import Decent, decent_at
from notify.core.shop import Shop
from notify.core.telling_hours import Week, parse_week
from notify.core.urgency import waits_for_decent_hour
from notify.store import people
from notify.store.database import Unit
from notify.store.messages import Message

_MOST_KEPT = 20_000


@dataclass(frozen=True, slots=True)
class DecentHours:
    """The installation's hours, for shops that set none, and the zones of phone contacts looked up so far.

    A contact is never changed, only replaced; so what is kept under its identifier stays true, and no number is kept.
    """

    week: Week
    _zones: OrderedDict[str, tuple[str, ...]] = field(default_factory=OrderedDict, repr=False)

    def next_for(self, unit: Unit, message: Message, person: Recipient, shop: Shop, *, now: datetime) -> Decent | None:
        """The next decent moment for this message to this person; None when it needs none."""
        by = "staff" if message.resend else str(message.refs.get("by", ""))
        if not waits_for_decent_hour(message.notice, caused_by=by, caused_at=message.created_at, now=now):
            return None
        week = parse_week(shop.telling_hours) if shop.telling_hours else self.week
        return decent_at(now, shop_zone=shop.zone, other_zones=self._zones_of(unit, person), week=week)

    def _zones_of(self, unit: Unit, person: Recipient) -> tuple[str, ...]:
        numbers = [reach.contact_id for reach in person.reaches if reach.channel == "sms"]
        return tuple(dict.fromkeys(name for one in numbers for name in self._of_contact(unit, person.person_id, one)))

    def _of_contact(self, unit: Unit, person_id: str, contact_id: str) -> tuple[str, ...]:
        if contact_id not in self._zones:
            found = [c.address for c in people.contacts_of(unit, person_id) if c.id == contact_id]
            self._zones[contact_id] = zones_of(found[0]) if found else ()
            if len(self._zones) > _MOST_KEPT:
                self._zones.popitem(last=False)
        return self._zones[contact_id]
