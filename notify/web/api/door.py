"""Who may call the API: a token in the header Authorization (RFC 6750 2.1), its scope, and a throttle for guessing."""

from __future__ import annotations

import re
from collections.abc import Mapping

from flask import g, request

from notify.flows.api_tokens import Caller, find_caller
from notify.flows.claims import count_guess
from notify.web.api.operations import operation_at
from notify.web.api.problems import Refused
from notify.web.here import ctx, services, shop_id

_BEARER = re.compile(r"bearer +([A-Za-z0-9._~+/-]+=*)", re.IGNORECASE)  # RFC 6750 2.1, RFC 9110 11.1
_REALM = 'Bearer realm="shelfbell"'


def open_door() -> None:
    """Finds the caller, in front of each operation of the API; a cookie says nothing here. Raises Refused."""
    g.signed_in, g.shop_id = None, None
    operation = operation_at(request.url_rule.rule if request.url_rule else "", request.method)
    if operation is not None and operation.public:
        return
    caller = _caller()
    g.api_caller, g.shop_id = caller, caller.actor.shop_id
    if operation is not None and operation.scope and operation.scope not in caller.actor.scopes:
        raise _lacks(operation.scope)


def _caller() -> Caller:
    given = request.headers.get("Authorization", "")
    if not given:
        raise Refused("no-token", "This request has no token", "Send the header Authorization: Bearer and the token.",
                      headers={"WWW-Authenticate": _REALM})  # fmt: skip
    found = _BEARER.fullmatch(given.strip())
    caller = find_caller(ctx(), found[1]) if found else None
    if caller is None:
        _count()
        raise Refused("wrong-token", "This token opens nothing here", "It may have run out or been revoked.",
                      headers=_told(error="invalid_token"))  # fmt: skip
    return caller


def _count() -> None:
    """Counts a wrong token; too many from one place have to wait. Whoever holds a right one never comes here."""
    if not services().shop_ids():
        return
    limit = services().settings.limits.claim_tries_an_hour
    wait = count_guess(ctx(), shop_id(), request.remote_addr or "", limit=limit, kind="token")
    if wait:
        raise Refused("too-often", "Too many wrong tokens came from this address", "Wait, then use a right one.",
                      headers={"Retry-After": str(wait)})  # fmt: skip


def _lacks(scope: str) -> Refused:
    return Refused("missing-scope", f"This token lacks the scope {scope}", "An owner can make one that has it.",
                   headers=_told(error="insufficient_scope", scope=scope))  # fmt: skip


def _told(**attributes: str) -> Mapping[str, str]:
    """RFC 6750 3: why, for programs."""
    return {"WWW-Authenticate": ", ".join([_REALM, *(f'{name}="{value}"' for name, value in attributes.items())])}
