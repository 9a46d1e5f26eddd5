"""Whether one confirmation may follow a wish to stop: 47 CFR 64.1200(a)(12)."""

from __future__ import annotations

from datetime import datetime, timedelta

# Within five minutes the consent to one confirmation is presumed; later only if shown to be reasonable, which no
# program can show. Quiet hours do not matter: it answers the person's own message, and waiting would miss the limit.
PRESUMED = timedelta(minutes=5)


def may_confirm(*, stopped_at: datetime, now: datetime, confirmed_before: int, marketing: bool = False) -> bool:
    """Whether a wish that arrived at `stopped_at` may be confirmed at `now` (both aware).

    One time only (`confirmed_before` counts those sent for this same wish), and without marketing.
    """
    return confirmed_before == 0 and not marketing and timedelta(0) <= now - stopped_at <= PRESUMED
