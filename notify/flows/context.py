"""What every flow is handed: the database, the clock, chance, and the few installation facts it needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core.shop import Shop
from notify.core.telling_hours import ALWAYS, Week, parse_week
from notify.render.words import Language
from notify.store import shops
from notify.store.database import Database, Unit

Clock = Callable[[], datetime]
# The scheme of a claim code when customers reach no page: the shop's own scanner still reads it.
OFFLINE_CLAIM = "shelfbell:c/"


@dataclass(frozen=True, slots=True)
class Context:
    """Handed out by wiring.py only. `pick(n)` gives a random whole number from 0 to n-1 (CSPRNG).

    `public_url` is empty when customers cannot reach the service; then nothing may print a link. `organizer` is the
    address to which calendars answer, with `{token}` where that of a booking goes; without, one address for all.
    `week` holds the installation's telling hours, for shops that set none. `words` gives all words of a language.
    """

    db: Database
    clock: Clock
    new_id: Callable[[], str]
    pick: Callable[[int], int]
    public_url: str
    bell: timedelta
    channels_on: frozenset[str]
    words: Callable[[str], Language]
    organizer: str = ""
    week: Week = ALWAYS

    def shop(self, unit: Unit) -> Shop:
        """The unit's shop as it is set today (by UTC, then by its own zone's date)."""
        now = self.clock()
        shop = shops.get_shop(unit, today=now.date())
        today = now.astimezone(ZoneInfo(shop.zone)).date()
        return shop if today == now.date() else shops.get_shop(unit, today=today)

    def today(self, shop: Shop) -> date:
        """The date on the shop's wall."""
        return self.clock().astimezone(ZoneInfo(shop.zone)).date()

    def telling_week(self, shop: Shop) -> Week:
        """The hours of each weekday in which this shop's customers may be written to."""
        return parse_week(shop.telling_hours) if shop.telling_hours else self.week

    def claim_link(self, token: str) -> str:
        """The address of a claim page; empty without a public address or token."""
        return f"{self.public_url.rstrip('/')}/c/{token}" if self.public_url and token else ""

    def organizer_address(self, token: str) -> str:
        """The address that the invites of one booking name as their organizer, in lower case."""
        return self.organizer.replace("{token}", token).lower()

    def claim_code(self, token: str) -> str:
        """What the QR code on a claim ticket holds: the link, or an offline code for the shop's scanner."""
        return self.claim_link(token) or f"{OFFLINE_CLAIM}{token}"
