"""How long a source that cannot be read is left alone: the longer it has been so, the longer, up to ten minutes."""

from __future__ import annotations

from datetime import datetime, timedelta

LONGEST = timedelta(minutes=10)  # common practice, no source: whoever mends it should not wait for long


def rests(now: datetime, *, looked_at: datetime | None, trouble_since: datetime | None) -> bool:
    """Whether the next look is too soon. A clock that was put back makes nothing rest."""
    if trouble_since is None or looked_at is None or now < looked_at:
        return False
    return now - looked_at < min(looked_at - trouble_since, LONGEST)
