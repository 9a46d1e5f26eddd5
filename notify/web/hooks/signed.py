"""Proves that a call comes from a source of ours, and counts those who guess; before the body is read as anything."""

from __future__ import annotations

import hashlib
import hmac
import logging
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from flask import Response, current_app, g, request
from werkzeug.exceptions import RequestEntityTooLarge

from notify.config.key_files import read_signing_key
from notify.config.settings import Watch
from notify.core import signed_call
from notify.core.errors import Misconfigured
from notify.core.signed_call import Refusal
from notify.flows.claims import count_guess
from notify.flows.source_shop import shop_of
from notify.web.here import ctx, services
from notify.web.hooks.proof import LARGEST, said

WEBHOOK, KEY = "webhook", "shelfbell-sources"
SHOP_KEPT, NEVER = timedelta(seconds=30), datetime(1970, 1, 1, tzinfo=UTC)
NOT_PROVED = "The call is not proved to come from this source"
_CLOCK = "The call is signed, but its time is not now; look at the clock of whoever sent it"
log = logging.getLogger("shelfbell.watch")


def refuse_signed() -> Response | None:
    """The answer to a call that is not taken, or None when it may go on with `g.watch` and `g.shop_id`.

    A source that is not there costs the same work and is told in the same words.
    """
    request.max_content_length = LARGEST
    try:
        raw = request.get_data(cache=True)
    except RequestEntityTooLarge:
        return said(413, "The body is too large")
    source = _source(str((request.view_args or {}).get("name", "")))
    keys = _keys(source)
    told = {name: request.headers.get(name, "") for name in (signed_call.ID, signed_call.TIME, signed_call.SIGNATURE)}
    refusal = signed_call.verify(keys or (_nobodys_key(),), told, raw, now=int(ctx().clock().timestamp()))
    if source is not None and keys and refusal is None:
        return _let_in(source) if _is_json() else said(415, "The body must be JSON, and not packed")
    return _refused(refusal, known=bool(keys))


def _let_in(source: Watch) -> Response | None:
    try:
        g.shop_id = _shop_of(source)
    except Misconfigured as problem:
        log.error("a signed call cannot be taken: %s", problem)
        return said(503, "The shop has to correct its settings first; offer it again later")
    g.watch = source
    return None


def _shop_of(source: Watch) -> str:
    """Whose source it is, looked up at most every half minute: a shop is seldom added, and calls may come in floods."""
    kept: dict[str, tuple[datetime, str]] = current_app.extensions.setdefault(KEY, {})
    now, (at, found) = ctx().clock(), kept.get(source.name, (NEVER, ""))
    if not at <= now < at + SHOP_KEPT:
        found = shop_of(ctx(), services().shop_ids(), source.shop, source=source.name)
        kept[source.name] = (now, found)
    return found


def _refused(refusal: Refusal | None, *, known: bool) -> Response:
    if known and refusal in (Refusal.OLD, Refusal.EARLY):
        return said(401, _CLOCK)
    limit, shops = services().settings.limits.claim_tries_an_hour, services().shop_ids()
    wait = count_guess(ctx(), shops[0], request.remote_addr or "", limit=limit, kind=WEBHOOK) if shops else 0
    answer = said(429 if wait else 401 if known else 404, NOT_PROVED)
    if wait:
        answer.headers["Retry-After"] = str(wait)
    return answer


def _is_json() -> bool:
    kind, packed = request.mimetype, request.headers.get("Content-Encoding", "identity") != "identity"
    return not packed and (kind == "application/json" or (kind.startswith("application/") and kind.endswith("+json")))


def _source(name: str) -> Watch | None:
    return next((one for one in services().settings.watch if one.kind == WEBHOOK and one.name == name), None)


def _keys(source: Watch | None) -> tuple[bytes, ...]:
    """Both keys while they are changed. Read for each call, so that a new one counts at once, without a restart."""
    files = (source.secret_file, source.old_secret_file) if source is not None else ()
    return tuple(_read(file for file in files if file is not None))


def _read(files: Iterator[Path]) -> Iterator[bytes]:
    for file in files:
        try:
            yield read_signing_key(file)
        except Misconfigured as problem:
            if file.exists():  # the old one may rightly be gone
                log.error("the key of a source cannot be used: %s", problem.what)


def _nobodys_key() -> bytes:
    """For a source that is not there: nobody can sign with it, and trying takes as long."""
    return hmac.digest(services().secret, b"no such source", hashlib.sha256)
