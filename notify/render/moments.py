"""Moments and lengths of time as a customer's page says them: "tomorrow by 11:30", "90 days"."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

from babel import Locale
from babel.dates import get_period_id
from babel.units import format_unit

from notify.core.durations import Period
from notify.core.languages import locale_of
from notify.render.dates import say_day, say_time
from notify.render.words import Language

_NAMED = {0: "_today", 1: "_tomorrow", -1: "_yesterday"}


@dataclass(frozen=True, slots=True)
class Moments:
    """Says instants in a shop's zone and one language, as seen at `now`; the words are [date] of the page words."""

    words: Language
    zone: str
    now: datetime

    def at(self, moment: datetime) -> str:
        """ "tomorrow at 17:30" or "on Thursday, 26 November, at 17:30": fits after a verb."""
        return self._say("at", moment)

    def by(self, moment: datetime) -> str:
        """ "today by 11:30" or "on Thursday, 26 November, by 11:30"."""
        return self._say("by", moment)

    def stamp(self, moment: datetime) -> str:
        """ "yesterday, 17:41" or "Monday, 23 November, 17:20": stands alone."""
        return self._say("stamp", moment)

    def on(self, moment: datetime) -> str:
        """ "on Thursday, 26 November"."""
        return self.words("date.on", day=self.day(moment))

    def day(self, moment: datetime) -> str:
        """ "Thursday, 26 November", with the year when it is another one."""
        said = say_day(moment, zone=self.zone, language=self.words.code)
        year = self._local(moment).year
        return said if year == self._local(self.now).year else f"{said} {year}"

    def heading(self, moment: datetime) -> str:
        """ "Tomorrow, Thursday, 26 November", above the times of that day."""
        ahead = (self._local(moment).date() - self._local(self.now).date()).days
        day = self.day(moment)
        return self.words(f"date.day{_NAMED[ahead]}", day=day) if ahead in (0, 1) else day

    def time(self, moment: datetime) -> str:
        """ "17:30"."""
        return say_time(moment, zone=self.zone, language=self.words.code)

    def part(self, moment: datetime) -> str:
        """ "in the morning", "vormittags", "di mattina": the day periods of CLDR (Unicode TR35), through babel.

        Noon and midnight count with the minute after them: no part of a day is a single minute long.
        """
        local = self._local(moment)
        locale = Locale.parse(locale_of(self.words.code))
        name = get_period_id(time(local.hour, local.minute or 1), locale=locale)
        return str(locale.day_periods["format"]["wide"][name])

    def spoken(self, moment: datetime) -> str:
        """ "tomorrow, 9:15 in the morning" or "Thursday, 26 November, 9:15 in the morning"."""
        local = self._local(moment)
        return self._say("spoken", moment, time=f"{local.hour}:{local.minute:02}", part=self.part(moment))

    @property
    def tz(self) -> ZoneInfo:
        """The shop's zone."""
        return ZoneInfo(self.zone)

    def _say(self, how: str, moment: datetime, **said: str) -> str:
        ahead = (self._local(moment).date() - self._local(self.now).date()).days
        values = {"time": self.time(moment), **said}
        if ahead in _NAMED:
            return self.words(f"date.{how}{_NAMED[ahead]}", **values)
        return self.words(f"date.{how}", day=self.day(moment), **values)

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(self.tz)


def say_period(period: Period, *, language: str) -> str:
    """ "90 days", "1 year, 6 months": plural forms are CLDR's (Unicode), through babel."""
    hours, seconds = divmod(period.seconds, 3600)
    minutes = seconds // 60
    lengths = (("year", period.years), ("month", period.months), ("day", period.days), ("hour", hours),
               ("minute", minutes))  # fmt: skip
    said = [_length(count, f"duration-{unit}", locale_of(language)) for unit, count in lengths if count]
    return ", ".join(said).replace("\u00a0", " ")


def _length(count: int, unit: str, locale: str) -> str:
    """Long forms that equal the short ones are left out of CLDR's data (Italian days), and babel does not look there:
    it writes the unit's own name. Root of CLDR: unitLength long falls back to short."""
    said = format_unit(count, unit, locale=locale)
    return said if unit not in said else format_unit(count, unit, "short", locale=locale)
