"""When a parcel comes: how late its supplier usually is, learned from what came, and what is left when it is overdue.

The delay is a number of the supplier's working days, categorical, with a Dirichlet prior (conjugate: a count adds to
its own category). The last category is "later than that": nobody knows when, and so nothing is promised.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from notify.core.hours import Counter
from notify.core.ready import DELAYS
from notify.core.working_days import Supplier, late
from notify.forecast.scene import Parcel

# As good as five parcels seen: four on the day, the rest later. Not 0 for three days: what has weight 0 stays out of
# reach until it was seen. An assumption, not data.
PRIOR = (4.0, 0.75, 0.2, 0.01, 0.05)
# A box is booked in some time after it came: for so long after its hour it may still be today's. Common practice, no
# source. Without it every box that is unpacked five minutes late would threaten the promises that wait for it.
BELATED = timedelta(hours=1)


def shares(counts: Sequence[float], prior: Sequence[float] = PRIOR) -> tuple[float, ...]:
    """How likely each delay is: (prior + count) over their sum. Missing counts are 0."""
    seen = [*counts[: len(prior)], *([0] * (len(prior) - len(counts)))]
    sums = [before + count for before, count in zip(prior, seen, strict=True)]
    return tuple(one / sum(sums) for one in sums)


def learned(counts: Sequence[int], days: int) -> list[int]:
    """The counts with one more parcel that came so many working days late."""
    found = [*counts, *([0] * (DELAYS + 1 - len(counts)))]
    found[min(days, DELAYS)] += 1
    return found


def unlearned(counts: Sequence[int], days: int) -> list[int]:
    """The counts without a parcel that was counted so many working days late by mistake."""
    found = [*counts]
    at = min(days, DELAYS)
    if at < len(found) and found[at] > 0:
        found[at] -= 1
    return found


def parcel(key: str, due: datetime, supplier: Supplier, counts: Sequence[int], now: datetime, shop: Counter) -> Parcel:
    """What is known at `now` of a parcel that is not here: a day that has gone by is none it can come on.

    It may come today until BELATED after its hour; then today means now. What is left is shared out anew. When no day
    is left, all of it is "later than that".
    """
    days = [late(supplier, due, number, shop) for number in range(DELAYS)]
    whole = shares(counts)
    left = [share if day + BELATED >= now else 0.0 for share, day in zip(whole, days, strict=False)] + [whole[DELAYS]]
    arrivals = tuple(max(day, now).timestamp() for day in days)
    return Parcel(key, (*arrivals, None), tuple(one / sum(left) for one in left))
