"""Open time: how many seconds a counter was open between two instants, for many instants at once."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from datetime import datetime
from itertools import accumulate

from notify.core.hours import Counter, open_spans
from notify.core.instants import zone


def open_times(moments: Iterable[datetime], counter: Counter) -> Mapping[datetime, float]:
    """instant -> the open seconds of the counter before it, counted from the day of the first of them."""
    known = sorted(set(moments))
    if not known:
        return {}
    tz = zone(counter.zone)
    spans = open_spans(counter, known[0].astimezone(tz).date(), known[-1].astimezone(tz).date())
    opens = [span.start_utc for span in spans]
    lasts = [(span.end_utc - span.start_utc).total_seconds() for span in spans]
    before = list(accumulate(lasts, initial=0.0))

    def reached(moment: datetime) -> float:
        at = bisect_right(opens, moment) - 1
        return 0.0 if at < 0 else before[at] + min((moment - opens[at]).total_seconds(), lasts[at])

    return {moment: reached(moment) for moment in known}
