"""How long data are kept, in words: the one room for every page, paper and command that says it.

The words are `keeping.*` of templates/words/<language>.toml, one for each clock of core/retention.
"""

from __future__ import annotations

from datetime import date
from typing import Protocol

from notify.core.durations import parse_duration
from notify.render.dates import say_day_of_year
from notify.render.moments import say_period
from notify.render.words import Language


class Kept(Protocol):
    """A rule of keeping, or one kind of data with its own: an ISO 8601 period, "" where time does not end it."""

    @property
    def period(self) -> str: ...
    @property
    def clock(self) -> str: ...


def counted(kept: Kept, words: Language) -> str:
    """ "90 days", or "3 years from the end of the year"."""
    return _say("keeping", kept, words) if kept.period else words["keeping.never"]


def after_handback(kept: Kept, words: Language) -> str:
    """ "90 days after the last device is handed back", or "after the end of the year in which" it is."""
    return _say("keeping_after", kept, words)


def _say(group: str, kept: Kept, words: Language) -> str:
    clock, _, last = kept.clock.partition(":")
    said = {"period": say_period(parse_duration(kept.period), language=words.code)}
    if last:
        said["last"] = say_day_of_year(date.fromisoformat(f"2000-{last}"), language=words.code)
    return words(f"{group}.{clock}", **said)
