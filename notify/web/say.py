"""How the pages say days, times and amounts: in the shop's zone and currency, in one language."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from notify.core.money import show_amount
from notify.core.shop import Shop
from notify.render.dates import say_day, say_time

_DAYS = {
    "en": ("today", "yesterday", "tomorrow"),
    "de": ("heute", "gestern", "morgen"),
    "it": ("oggi", "ieri", "domani"),
}
_BY = {"en": "{day}, by {time}", "de": "{day}, bis {time}", "it": "{day} entro le {time}"}
_SIGNS = {"EUR": "€", "GBP": "£", "USD": "$", "JPY": "¥"}


@dataclass(frozen=True, slots=True)
class Say:
    """Made by `pages.say()` for staff (English) or with the customer's language; `now` is aware."""

    zone: str
    currency: str
    language: str
    now: datetime

    def day(self, moment: datetime) -> str:
        """ "Thursday, 26 November"."""
        return say_day(moment, zone=self.zone, language=self.language)

    def time(self, moment: datetime) -> str:
        """ "17:30"."""
        return say_time(moment, zone=self.zone, language=self.language)

    def when(self, moment: datetime) -> str:
        """ "17:30" today, "yesterday, 17:30", "tomorrow, 9:00", else the day and the time."""
        ahead = (self.local(moment).date() - self.local(self.now).date()).days
        if ahead == 0:
            return self.time(moment)
        named = {-1: _DAYS[self.language][1], 1: _DAYS[self.language][2]}
        return f"{named.get(ahead, self.day(moment))}, {self.time(moment)}"

    def by(self, moment: datetime) -> str:
        """ "Thursday, 26 November, by 11:30"; today and tomorrow by name."""
        ahead = (self.local(moment).date() - self.local(self.now).date()).days
        named = {0: _DAYS[self.language][0], 1: _DAYS[self.language][2]}
        return _BY[self.language].format(day=named.get(ahead, self.day(moment)), time=self.time(moment))

    def money(self, minor: int) -> str:
        """ "£24.00"."""
        return show_amount(minor, currency=self.currency, language=self.language)

    @property
    def sign(self) -> str:
        """ "£", or the three letters of a currency without a sign."""
        return _SIGNS.get(self.currency, self.currency)

    def local(self, moment: datetime) -> datetime:
        """The shop's wall time of an instant."""
        return moment.astimezone(ZoneInfo(self.zone))

    def for_input(self, moment: datetime | None) -> str:
        """The value of a datetime-local field: "2026-11-26T11:30", "" for none."""
        return self.local(moment).strftime("%Y-%m-%dT%H:%M") if moment else ""


def say_for(shop: Shop, clock: Callable[[], datetime], *, language: str = "en") -> Say:
    """How to say things for this shop now."""
    return Say(shop.zone, shop.currency, language, clock())


def until(moment: datetime, *, seconds: int) -> datetime:
    """The instant so many seconds later: until when Undo works."""
    return moment + timedelta(seconds=seconds)
