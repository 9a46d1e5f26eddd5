"""How promises were kept: the answer in a sentence, and the numbers it rests on. It changes nothing."""

from __future__ import annotations

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.flows.view_promises import view
from notify.web.counter import pictures
from notify.web.counter import promise_pictures as drawn
from notify.web.counter import promises_says as says
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page

pages = Blueprint("promises", __name__)


@pages.get("/promises")
def show() -> Response:
    """The promises of the last year."""
    seen = view(ctx(), current_actor())
    return render_page(
        "promises.html", here="", sentence=says.verdict(seen), wanted=says.against_wanted(seen),
        learned=says.learned(seen), apart=says.apart(seen), drift=says.drift(seen), rows=says.rows(seen),
        scores=says.scores(seen),
        kinds=says.kinds(seen), causes=says.causes(seen), left_out=says.left_out(seen),
        spread=says.spread(seen.losses) if seen.losses else "",
        tenths=says.tenths(seen.losses) if seen.losses else [], late=drawn.lateness(seen),
        newest=drawn.newest(seen) if seen.due >= says.FEW else [],
        charts={
            "kept": pictures.shown("/promises/kept", drawn.dots_in_words(seen)),
            "pit": pictures.shown("/promises/pit", drawn.pits_in_words(seen.losses)),
            "drift": pictures.shown("/promises/drift", drawn.drift_in_words(seen)),
        },
    )  # fmt: skip
