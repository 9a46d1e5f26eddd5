"""Takes signed calls of other systems at POST /hooks/watch/<name>; 2xx is said only after the commit."""

from __future__ import annotations

from flask import Blueprint, Response, current_app, g, jsonify, request

from notify.config.settings import Watch
from notify.core import signed_call
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.sources import Taken
from notify.flows.take_call import Call, Together
from notify.web.here import ctx, shop_id
from notify.web.hooks.calls import read_call
from notify.web.hooks.proof import said

pages = Blueprint("hooks_watch", __name__)
KEY = "shelfbell-calls"


@pages.post("/hooks/watch/<name>")
def take(name: str) -> Response:
    """One call, proved by the guard. What cannot be taken is kept for a person and answered as taken all the same."""
    watch: Watch = g.watch
    try:
        told = read_call(watch, request.get_data(cache=True), {name.lower(): text for name, text in request.headers})
    except Invalid as problem:
        return said(400, str(problem))
    actor = Actor(shop_id(), "source", watch.name)
    call = Call(request.headers[signed_call.ID], told)
    taken = together().take(ctx(), actor, watch, call)
    return jsonify({"taken": True, "what": "Known already" if taken.known else "Taken", **_counts(taken)})


def together() -> Together:
    """Of this application: calls that come at once share a transaction."""
    found: Together = current_app.extensions.setdefault(KEY, Together())
    return found


def _counts(taken: Taken) -> dict[str, int]:
    """How many things changed something, said nothing new, were older than what is known, or wait for a person."""
    return {"changed": len(taken.taken), "unchanged": len(taken.unchanged), "older": len(taken.stale),
            "asked": len(taken.doubted)}  # fmt: skip
