"""Every refusal of the API as problem details (RFC 9457): what, which, and what to do."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from flask import Response

from notify.core.errors import Changed, NotifyError

# Kind -> status and title. `type` is the address at which the API itself tells the title again (RFC 9457 3.1.1: where
# it is relative, with its whole path).
KINDS: dict[str, tuple[int, str]] = {
    "malformed": (400, "The request is not as the description says"),
    "no-token": (401, "There is no token"),
    "wrong-token": (401, "The token opens nothing"),
    "missing-scope": (403, "The token may not do this"),
    "not-allowed": (403, "The rules do not allow this"),
    "not-found": (404, "There is no such thing"),
    "no-such-method": (405, "This address does not do that"),
    "not-acceptable": (406, "The answer is JSON, which was not asked for"),
    "conflict": (409, "This does not go together with how things stand"),
    "changed": (412, "It was changed meanwhile"),
    "too-large": (413, "That is too much at once"),
    "not-json": (415, "The request is not JSON"),
    "refused": (422, "The request cannot be carried out as it stands"),
    "no-if-match": (428, "The request does not say which state it was decided on"),
    "too-often": (429, "Too many tries"),
    "broken": (500, "The service has a fault here"),
    "unavailable": (503, "The service cannot answer just now"),
}
_OF_STATUS = {
    400: "malformed", 401: "wrong-token", 403: "not-allowed", 404: "not-found", 405: "no-such-method", 409: "conflict",
    413: "too-large", 415: "not-json", 422: "refused", 429: "too-often", 503: "unavailable",
}  # fmt: skip
_SAID = {
    "not-found": "Nothing is at this address. See /api/v1/openapi.json.",
    "no-such-method": "Use a method that Allow names.",
    "too-large": "Send less in one request.",
    "broken": "Nothing was half done. Please report the time of this request.",
    "unavailable": "The same request may work soon.",
    "malformed": "See /api/v1/openapi.json.",
}
PATH = "/api/v1/problems/"


class Refused(NotifyError):
    """A refusal of the API itself, before any flow was asked; `kind` is one of KINDS."""

    def __init__(self, kind: str, what: str, advice: str = "", *, headers: Mapping[str, str] | None = None,
                 field: str = "") -> None:  # fmt: skip
        super().__init__(what, advice, field=field)
        self.kind = kind
        self.headers = dict(headers or {})


def kind_of(status: int, error: NotifyError | None) -> str:
    """The kind of problem for a status; a fault is `broken` whatever its error says."""
    if isinstance(error, Refused):
        return error.kind
    if isinstance(error, Changed):
        return "changed"
    return _OF_STATUS.get(status, "malformed" if status < 500 else "broken")


def problem(kind: str, error: NotifyError | None = None) -> Response:
    """The answer that tells a problem. Faults of ours never quote their error."""
    status, title = KINDS[kind]
    told: dict[str, Any] = {"type": PATH + kind, "title": title, "status": status}
    quoted = error if status < 500 else None
    told["detail"] = str(quoted) if quoted is not None else _SAID.get(kind, f"{title}.")
    if quoted is not None:
        told["errors"] = [{"what": one.what, "advice": one.advice, "field": one.field} for one in quoted.problems]
    answer = Response(json.dumps(told, ensure_ascii=False), status, content_type="application/problem+json")
    for name, value in (error.headers if isinstance(error, Refused) else {}).items():
        answer.headers[name] = value
    if status == 503:
        answer.headers["Retry-After"] = "60"
    return answer
