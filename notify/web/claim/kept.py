"""Claim pages as they were just made, for the same look again: people renew a page while they wait.

Held in the memory of this process only, under the claim secret that opens them, few and for seconds. A page is
given again only while the claim's stamp is the same, which is read anew for every look: so not after any change,
not after the link was replaced, and not after the person was forgotten.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import cast

from flask import current_app

from notify.store.claims import Stamp

KEY = "shelfbell.kept_pages"
LASTS = timedelta(seconds=30)
MOST = 256  # about a megabyte


@dataclass(frozen=True, slots=True)
class _Page:
    stamp: Stamp
    made: datetime
    until: datetime
    octets: bytes = field(repr=False)


class KeptPages:
    """At most `most` pages; with 0 every look makes its page anew."""

    def __init__(self, *, most: int = MOST) -> None:
        self._most = most
        self._pages: dict[str, _Page] = {}
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._pages)

    def find(self, token: str, stamp: Stamp, *, now: datetime) -> bytes | None:
        """The page of this secret if it still holds."""
        page = self._pages.get(token)
        if page is None or page.stamp != stamp or not page.made <= now < page.until:
            return None
        return page.octets

    def keep(self, token: str, stamp: Stamp, octets: bytes, *, now: datetime, ends: datetime | None) -> None:
        """Keeps a page made of facts no older than `stamp`, and drops every one whose time is over.

        No page outlives the minute it was made in, as opening hours, days and times are said by the minute, nor
        the instant `ends` at which something on it is over.
        """
        minute = now.replace(second=0, microsecond=0) + timedelta(minutes=1)
        until = min(now + LASTS, minute, ends or minute)
        with self._lock:
            fresh = {key: page for key, page in self._pages.items() if page.made <= now < page.until}
            fresh.pop(token, None)
            fresh[token] = _Page(stamp, now, until, octets)
            for oldest in list(fresh)[: max(0, len(fresh) - self._most)]:
                del fresh[oldest]
            self._pages = fresh


def kept_pages() -> KeptPages:
    """Those of this application."""
    return cast(KeptPages, current_app.extensions[KEY])
