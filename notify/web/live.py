"""Pages of staff that stay open and ask again by themselves: 304 as long as they would look the same.

What a page was is kept as its tag only, never its text, in the memory of this process: which stamp of the shop
(store/shown.py) it was made under, and until when. A tag is told again without a look at anything but the session while
the stamp is the same and the minute, which is the unit in which every page says time, has not passed. Else the page is
made anew, and if it came out the same, its tag is the same: so an idle sheet is made once a minute and never sent.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, cast

from flask import Flask, current_app, make_response, request
from werkzeug.http import parse_etags
from werkzeug.wrappers import Response

from notify.config.settings import Web
from notify.flows import staff
from notify.web.here import KEY as SERVICES
from notify.web.here import ctx, shop_id, signed_in
from notify.web.sessions import BY_ITSELF, NAME, cookie_name
from notify.wiring import Services

if TYPE_CHECKING:
    from wsgiref.types import StartResponse, WSGIEnvironment

KEY = "shelfbell.kept_tags"
_HEADER = f"HTTP_{BY_ITSELF.upper().replace('-', '_')}"
MOST = 512
_SEEN = (b"<span data-seen>", b"</span>")
_TAG = b'data-tag=""'  # filled in for static/live.js, which cannot read the headers of the page that it came with


# Who asks (the session's cookie), which page (path and query), under which name of this service.
Key = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class _Kept:
    shown: int
    made: datetime
    until: datetime
    tag: str


@dataclass(slots=True)
class KeptTags:
    """The tags of the pages that were made last, at most MOST of them."""

    _tags: dict[Key, _Kept] = field(default_factory=dict, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def may_hold(self, key: Key, tags: str) -> bool:
        """Whether the page was made with one of these tags (an If-None-Match), so that its stamp is worth a look."""
        kept = self._tags.get(key)
        return kept is not None and kept.tag in tags

    def find(self, key: Key, shown: int, *, now: datetime) -> str:
        """The tag if it still holds, else ""."""
        kept = self._tags.get(key)
        return kept.tag if kept and kept.shown == shown and kept.made <= now < kept.until else ""

    def keep(self, key: Key, shown: int, tag: str, *, made: datetime) -> None:
        """Remembers the tag of a page none of whose facts is older than `shown`, begun at `made`."""
        until = made.replace(second=0, microsecond=0) + timedelta(minutes=1)
        with self._lock:
            self._tags.pop(key, None)
            self._tags[key] = _Kept(shown, made, until, tag)
            for oldest in list(self._tags)[: max(0, len(self._tags) - MOST)]:
                del self._tags[oldest]


def answer_unchanged(app: Flask, web: Web) -> None:
    """Answers 304 to whoever has a page already (RFC 9110, 13.1.2 and 15.4.5), before the guards and without them.

    Only for a page that this very session got through all of them, under the same name of this service, and while the
    session holds: an open sheet asks this every second or two, and the guards took most of the time (measured).
    """
    tags = app.extensions[KEY] = KeptTags()
    context = cast(Services, app.extensions[SERVICES]).context
    cookie, inner = f"{cookie_name(NAME, web)}=", app.wsgi_app

    def unchanged(environ: WSGIEnvironment) -> str:
        kept = _cookie(environ.get("HTTP_COOKIE", ""), cookie)
        key = (kept, _asked(environ), environ.get("HTTP_HOST", ""))
        if not kept or not tags.may_hold(key, environ["HTTP_IF_NONE_MATCH"]):
            return ""
        shop_id, _, secret = kept.partition(".")
        person = staff.who(context, shop_id, secret, at_work=False)
        tag = tags.find(key, person.shown, now=context.clock()) if person else ""
        return tag if tag and parse_etags(environ["HTTP_IF_NONE_MATCH"]).contains_weak(tag) else ""

    def answer(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        asks = _HEADER in environ and "HTTP_IF_NONE_MATCH" in environ and environ["REQUEST_METHOD"] == "GET"
        tag = ""
        if asks:
            with suppress(Exception):  # what fails here fails again behind, where it is said
                tag = unchanged(environ)
        if not tag:
            return inner(environ, start_response)
        start_response("304 NOT MODIFIED", [("ETag", f'W/"{tag}"')])
        return [b""]

    app.wsgi_app = answer  # type: ignore[method-assign]  # Flask's own way to wrap it


def live_page(make: Callable[[], Response]) -> Response:
    """The page that `make` gives, with its tag; or 304 when the asker has it. For staff who are signed in."""
    person, made = signed_in(), ctx().clock()
    page = make()
    if person is None or page.status_code != 200:
        return page
    tag = tag_of(page.get_data())
    key = (f"{shop_id()}.{person.secret}", _asked(request.environ), request.environ.get("HTTP_HOST", ""))
    cast(KeptTags, current_app.extensions[KEY]).keep(key, person.shown, tag, made=made)
    if request.method == "GET" and request.if_none_match.contains_weak(tag):
        page = make_response("", 304)
    else:
        page.set_data(page.get_data().replace(_TAG, b'data-tag="%s"' % tag.encode(), 1))
    page.set_etag(tag, weak=True)
    return page


def tag_of(page: bytes) -> str:
    """The entity tag of a page: a hash of all of it but the minute at which it was seen. Weak, for that minute."""
    before, opens, rest = page.partition(_SEEN[0])
    return hashlib.blake2b(before + opens + rest.partition(_SEEN[1])[2], digest_size=16).hexdigest()


def _asked(environ: WSGIEnvironment) -> str:
    return f"{environ['PATH_INFO']}?{environ.get('QUERY_STRING', '')}"


def _cookie(sent: str, name: str) -> str:
    """The value of the cookie of that name, "=" included; ours need no quotes."""
    return next((one.strip()[len(name) :] for one in sent.split(";") if one.strip().startswith(name)), "")
