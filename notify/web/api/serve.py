"""Serves the table of operations: reads the request strictly, calls the operation's one flow, writes JSON."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from flask import Blueprint, g, request
from werkzeug.wrappers import Response

from notify.core.actors import Actor
from notify.core.errors import Changed, NotFound
from notify.flows.context import Context
from notify.flows.once import Asked, once
from notify.web.api import around, bookings, parts, tickets
from notify.web.api.call import Call, Do
from notify.web.api.operations import OPERATIONS, Operation
from notify.web.api.problems import Refused
from notify.web.api.reading import is_id, read_body, read_header, read_query
from notify.web.api.shapes import KEY, TAGS, TAGS_KNOWN
from notify.web.here import ctx, services

pages = Blueprint("api", __name__)
HANDLERS: dict[str, Do] = {**tickets.DO, **parts.DO, **bookings.DO, **around.DO}
_TAG = re.compile(r'(W/)?"([!#-~]*)"')  # entity-tag (RFC 9110 8.8.3)
_NOBODY = Actor("nobody", "script", "nobody")  # whoever asks what needs no token


def _view(operation: Operation) -> Callable[..., Response]:
    def view(**at: str) -> Response:
        return _answer(operation, at)

    return view


for _one in OPERATIONS:
    pages.add_url_rule(_one.rule, endpoint=_one.name, view_func=_view(_one), methods=[_one.method])


def _answer(operation: Operation, at: Mapping[str, str]) -> Response:
    if request.accept_mimetypes and not request.accept_mimetypes.best_match(["application/json"]):
        raise Refused("not-acceptable", "The answer would be JSON, which Accept leaves out", "Accept application/json.")
    _check_places(at)
    key, caller = _read_headers(operation), g.get("api_caller")
    query, body = read_query(request, operation), read_body(request, operation)
    actor, name = (caller.actor, caller.name) if caller else (_NOBODY, "")
    call = Call(ctx(), actor, name, dict(at), query, body)
    given, again = _carry_out(operation, call, key)
    return _written(operation, call, given, again=again)


def _check_places(at: Mapping[str, str]) -> None:
    """What has not the form of an identifier names nothing, and need not be looked for."""
    for name, value in at.items():
        if name.endswith("_id") and not _is_id(value):
            raise NotFound("There is nothing with this identifier", "Take it as the API gave it.", field=name)


def _is_id(value: str) -> bool:
    try:
        return is_id(value)
    except ValueError:
        return False


def _read_headers(operation: Operation) -> str:
    """The key of the request, "" for none; raises Refused for a header that is missing or cannot be read."""
    if operation.matches and "If-Match" not in request.headers:
        raise Refused("no-if-match", "This request does not say which state of the ticket it was decided on",
                      "Send If-Match with the ETag of the ticket, or *.", field="If-Match")  # fmt: skip
    if operation.matches:
        read_header(request, "If-Match", TAGS)
    return read_header(request, "Idempotency-Key", KEY) if operation.method == "POST" else ""


def _carry_out(operation: Operation, call: Call, key: str) -> tuple[Mapping[str, Any], bool]:
    def do(within: Context) -> Mapping[str, Any]:
        seen = _seen(call) if operation.matches else None
        return HANDLERS[operation.name](replace(call, ctx=within, seen=seen))

    if not key:
        return do(call.ctx), False
    return once(call.ctx, call.actor, Asked(key, _all_that_is_asked(), services().secret), do)


def _all_that_is_asked() -> bytes:
    return b"\0".join((request.method.encode(), request.path.encode(), request.query_string, request.get_data()))


def _seen(call: Call) -> int | None:
    """The version of the ticket that the caller saw; None for any (RFC 9110 13.1.1). Raises Changed."""
    given = read_header(request, "If-Match", TAGS)
    if given == "*":
        return None
    version, tag = _tag(call, call.ctx)
    strong = [found[2] for found in _TAG.finditer(given) if not found[1]]
    if tag not in strong:
        raise Changed("This ticket is no longer as you saw it", "Read it again, then decide.", field="If-Match")
    return version


def _tag(call: Call, within: Context) -> tuple[int, str]:
    version, seen = tickets.tag_of(call, within)
    return version, tag_of(seen)


def tag_of(given: Mapping[str, Any]) -> str:
    """The opaque part of the tag of an answer: it changes with any octet of it."""
    return hashlib.sha256(_octets(given)).hexdigest()[:32]


def _octets(given: Mapping[str, Any]) -> bytes:
    return json.dumps(given, ensure_ascii=False, separators=(",", ":")).encode()


def _written(operation: Operation, call: Call, given: Mapping[str, Any], *, again: bool) -> Response:
    answer = Response(_octets(given), operation.status, content_type="application/json")
    if again:
        answer.headers["Idempotent-Replay"] = "true"
    if operation.matches:
        answer.set_etag(_tag(call, call.ctx)[1])
    if not operation.tagged:
        return answer
    read_header(request, "If-None-Match", TAGS_KNOWN)
    answer.set_etag(tag_of(given))
    return answer.make_conditional(request)
