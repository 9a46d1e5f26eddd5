"""When a device will be ready, in words and as a small drawing; both say the same, in steps of the shop's tick.

No false precision: times are whole ticks, the early end rounded down and the late one up, and chances are told as
"about 9 times in 10". The range goes from the 10 % to the 90 % quantile.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from notify.core.ready import Forecast, chance_by
from notify.core.ruler import Ruler
from notify.core.threats import HARDLY
from notify.flows.view_lines import TicketLine
from notify.flows.view_ready import Foreseen
from notify.web.counter import desk_words as d
from notify.web.pages import desk
from notify.web.say import Say

LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9
SURELY = 0.95
WIDE, EDGE = 240, 8  # units of the drawing, and what is left free at either end
GAP = 2.0  # half of what is left out for a night
ROOM = 38  # units that a day's name takes on the scale
Picture = dict[str, Any]


def sentence(seen: Foreseen, say: Say) -> str:
    """What is foreseen and promised, in one sentence; "" when nothing is known and nothing promised."""
    if seen.forecast is None:
        return d.promise(seen.promise_at, say)
    if seen.forecast.without is not None:
        why = d.word("without", seen.forecast.without)
        return " ".join(part for part in (d.promise(seen.promise_at, say), why) if part)
    return f"{d.capital(probably(seen, say))}; {_beside(seen, say)}."


def probably(seen: Foreseen, say: Say) -> str:
    """ "probably ready tomorrow between 10:00 and 11:30", without a full stop; needs a forecast with quantiles."""
    low, high = _ends(seen, say)
    return f"probably ready {_between(low, high, say)}"


def kept(chance: float) -> str:
    """ "about 9 times in 10", with the edges in words."""
    if chance < HARDLY:
        return "will hardly be kept"
    if chance >= SURELY:
        return "is as good as certain"
    tenths = min(9, max(1, round(chance * 10)))
    return f"will be kept about {'once' if tenths == 1 else f'{tenths} times'} in 10"


def chance(seen: Foreseen) -> float | None:
    """The chance of the promise that stands now, also right after it was changed; None without one or a forecast."""
    if seen.forecast is None or not seen.forecast.grid or seen.promise_at is None:
        return None
    return chance_by(seen.forecast.grid, seen.promise_at)


def is_doubtful(seen: Foreseen, say: Say) -> bool:
    """Whether a promise to come has less chance than the shop wants to be warned of."""
    found = chance(seen)
    return found is not None and found < desk().shop.promise_warn / 100 and not _is_past(seen.promise_at, say)


def picture(seen: Foreseen, say: Say) -> Picture | None:
    """The drawing of one forecast, as templates/pages/_range.html reads it; None when there is nothing to draw."""
    found, on = seen.forecast, seen.on
    if found is None or not found.grid or on.end is None:
        return None
    low, middle, high = (found.at(level) for level in (LOW, MIDDLE, HIGH))
    promise = None if seen.promise_at is None or _is_past(seen.promise_at, say) else _x(on, seen.promise_at)
    return {
        "label": label(seen, say), "stretches": _stretches(on), "low": _within(on, low), "middle": _within(on, middle),
        "high": _x(on, high), "later": high is not None and high > on.end, "promise": promise,
        "flies": "left" if promise is not None and promise > WIDE - 20 else "right", "doubtful": is_doubtful(seen, say),
    }  # fmt: skip


def label(seen: Foreseen, say: Say) -> str:
    """The drawing in words: its ends, its middle, its mark."""
    middle = seen.forecast.at(MIDDLE) if seen.forecast else None
    low, high = _ends(seen, say)
    parts = [f"from {say.when(low)} to {say.when(high)}"]
    parts += [f"the middle at {say.when(down(middle, say))}"] if middle else []
    parts += [f"promised for {say.when(seen.promise_at)}"] if seen.promise_at else []
    return f"Ready {', '.join(parts)}"


def scale(on: Ruler, say: Say) -> Picture | None:
    """What the drawings of a list run over; None when the shop does not open soon."""
    if on.end is None:
        return None
    said = d.words()("range.scale", end=say.when(on.end))
    return {"stretches": _stretches(on), "days": _days(on, say), "sentence": said}


def scale_of(seen: Iterable[Foreseen], say: Say) -> Picture | None:
    """The scale of a list; None when none of its lines has a drawing."""
    drawn = [one for one in seen if one.forecast is not None and one.forecast.grid]
    return scale(drawn[0].on, say) if drawn else None


def on_line(seen: Foreseen | None, line: TicketLine, say: Say) -> tuple[str, Picture | None]:
    """Sentence and drawing for one line of a sheet."""
    if seen is None:
        return d.promise(line.promise_at, say), None
    return sentence(seen, say), picture(seen, say)


def down(at: datetime, say: Say) -> datetime:
    """The whole tick at or before."""
    local = say.local(at)
    over = timedelta(minutes=local.minute % _tick(), seconds=local.second, microseconds=local.microsecond)
    return at - over


def up(at: datetime, on: Ruler, say: Say) -> datetime:
    """The whole tick at or after, but not after the closing before which it lies."""
    low = down(at, say)
    whole = low if low == at else low + timedelta(minutes=_tick())
    closing = next((end for start, end in on.open if start <= at <= end), whole)
    return min(whole, max(closing, at))


def _tick() -> int:
    return int(desk().shop.promise_tick)


def _ends(seen: Foreseen, say: Say) -> tuple[datetime, datetime]:
    found: Forecast | None = seen.forecast
    low, high = (found.at(LOW), found.at(HIGH)) if found else (None, None)
    if low is None or high is None:
        raise ValueError("there is no range without quantiles")
    return down(low, say), up(high, seen.on, say)


def _between(low: datetime, high: datetime, say: Say) -> str:
    if low <= say.now:
        return f"{_day(high, say)} by {say.time(high)}"
    if low == high:
        return f"{_day(high, say)} at about {say.time(high)}"
    if say.local(low).date() == say.local(high).date():
        return f"{_day(high, say)} between {say.time(low)} and {say.time(high)}"
    return f"between {_named(low, say)}, {say.time(low)}, and {_named(high, say)}, {say.time(high)}"


def _ahead(at: datetime, say: Say) -> int:
    return (say.local(at).date() - say.local(say.now).date()).days


def _named(at: datetime, say: Say) -> str:
    return {0: "today", 1: "tomorrow"}.get(_ahead(at, say), say.day(at))


def _day(at: datetime, say: Say) -> str:
    return _named(at, say) if _ahead(at, say) in (0, 1) else f"on {say.day(at)},"


def _beside(seen: Foreseen, say: Say) -> str:
    """What was promised, after the range: with its chance while it is to come."""
    found = chance(seen)
    if seen.promise_at is None or found is None:
        return "nothing is promised yet"
    days = {say.local(one).date() for one in (*_ends(seen, say), seen.promise_at)}
    when = say.time(seen.promise_at) if len(days) == 1 else say.when(seen.promise_at)
    if _is_past(seen.promise_at, say):
        return f"it was promised for {when}"
    return f"promised for {when}, which {kept(found)}"


def _is_past(at: datetime | None, say: Say) -> bool:
    return at is not None and at < say.now


def _x(on: Ruler, at: datetime | None) -> float | None:
    return None if at is None else round(EDGE + on.place(at) * (WIDE - 2 * EDGE), 1)


def _within(on: Ruler, at: datetime | None) -> float | None:
    """The place of an instant on the line; None beyond its end."""
    return None if at is None or on.end is None or at > on.end else _x(on, at)


def _stretches(on: Ruler) -> list[list[float]]:
    """The open time as pieces with a gap for every night."""
    whole = [(_x(on, start) or EDGE, _x(on, end) or EDGE) for start, end in on.open]
    last = len(whole) - 1
    return [[a + (GAP if i else 0), b - (GAP if i < last else 0)] for i, (a, b) in enumerate(whole)]


def _days(on: Ruler, say: Say) -> list[dict[str, Any]]:
    """The names of the days where they begin, as many as have room."""
    found = [(EDGE + place * (WIDE - 2 * EDGE), at) for place, at in on.days()]
    kept_days = [
        (x, at) for i, (x, at) in enumerate(found) if (found[i + 1][0] if i + 1 < len(found) else WIDE) - x >= ROOM
    ]
    return [{"at": round(x, 1), "label": _short(at, say)} for x, at in kept_days]


def _short(at: datetime, say: Say) -> str:
    return "today" if _ahead(at, say) == 0 else say.day(at)[:3]
