"""Pages of staff that stay open and ask again by themselves: 304 as long as they would look the same.

What a page was is kept as its tag only, never its text, in the memory of this process: which stamp of the shop
(store/shown.py) it was made under, and until when. A tag is told again without a look at anything but the session while
the stamp is the same and the minute, which is the unit in which every page says time, has not passed. Else the page is
made anew, and if it came out the same, its tag is the same: so an idle sheet is made once a minute and never sent.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import cast

from flask import Flask, current_app, make_response, request
from werkzeug.wrappers import Response

from notify.web.here import ctx, signed_in

KEY = "shelfbell.kept_tags"
BY_ITSELF = "Shelfbell-By-Itself"  # header of what an open page asks, whether anybody is there or not
MOST = 512
_SEEN = (b"<span data-seen>", b"</span>")
_TAG = b'data-tag=""'  # filled in for static/live.js, which cannot read the headers of the page that it came with


@dataclass(frozen=True, slots=True)
class _Kept:
    shown: int
    made: datetime
    until: datetime
    tag: str


@dataclass(slots=True)
class KeptTags:
    """(session, address) -> the tag of the page that was made last, at most MOST of them."""

    _tags: dict[tuple[str, str], _Kept] = field(default_factory=dict, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def find(self, key: tuple[str, str], shown: int, *, now: datetime) -> str:
        """The tag if it still holds, else ""."""
        kept = self._tags.get(key)
        return kept.tag if kept and kept.shown == shown and kept.made <= now < kept.until else ""

    def keep(self, key: tuple[str, str], shown: int, tag: str, *, made: datetime) -> None:
        """Remembers the tag of a page none of whose facts is older than `shown`, begun at `made`."""
        until = made.replace(second=0, microsecond=0) + timedelta(minutes=1)
        with self._lock:
            self._tags.pop(key, None)
            self._tags[key] = _Kept(shown, made, until, tag)
            for oldest in list(self._tags)[: max(0, len(self._tags) - MOST)]:
                del self._tags[oldest]


def answer_unchanged(app: Flask) -> None:
    """Before each page, once it is known who asks: 304 to whoever has it already (RFC 9110, 13.1.2 and 15.4.5)."""
    app.extensions[KEY] = tags = KeptTags()

    @app.before_request
    def unchanged() -> Response | None:
        if "HTTP_IF_NONE_MATCH" not in request.environ or request.method != "GET" or (person := signed_in()) is None:
            return None
        tag = tags.find((person.secret, _address()), person.shown, now=ctx().clock())
        return _not_modified(tag) if tag and _has(tag) else None


def live_page(make: Callable[[], Response]) -> Response:
    """The page that `make` gives, with its tag; or 304 when the asker has it. For staff who are signed in."""
    person, made = signed_in(), ctx().clock()
    page = make()
    if person is None or page.status_code != 200:
        return page
    tag = tag_of(page.get_data())
    cast(KeptTags, current_app.extensions[KEY]).keep((person.secret, _address()), person.shown, tag, made=made)
    if request.method == "GET" and _has(tag):
        return _not_modified(tag)
    page.set_data(page.get_data().replace(_TAG, b'data-tag="%s"' % tag.encode(), 1))
    page.set_etag(tag, weak=True)
    return page


def tag_of(page: bytes) -> str:
    """The entity tag of a page: a hash of all of it but the minute at which it was seen. Weak, for that minute."""
    before, opens, rest = page.partition(_SEEN[0])
    return hashlib.blake2b(before + opens + rest.partition(_SEEN[1])[2], digest_size=16).hexdigest()


def by_itself() -> bool:
    """Whether an open page asks, and not a person."""
    return BY_ITSELF in request.headers


def _address() -> str:
    return request.full_path


def _has(tag: str) -> bool:
    return request.if_none_match.contains_weak(tag)


def _not_modified(tag: str) -> Response:
    answer = make_response("", 304)
    answer.set_etag(tag, weak=True)
    return answer
