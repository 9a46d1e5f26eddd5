"""The line of the day sheet that says why nobody is forgotten just now: the machine's clock is in doubt."""

from __future__ import annotations

from notify.flows import watch_clock
from notify.web.counter import desk_words as d
from notify.web.here import ctx, shop_id


def clock_lines() -> list[d.Line]:
    """Mostly none; one while the clock is not believed, with what a person can do about it."""
    why = watch_clock.why_not(ctx(), shop_id())
    if not why:
        return []
    words = d.words()
    return [d.sheet_line(words("clock.head"), f"{words(f'clock.{why}')} {words('clock.look')}", mark="caution")]
