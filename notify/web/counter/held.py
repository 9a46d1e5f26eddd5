"""What is held about people, for the owner; and the record of processing, with what only the owner can say."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from flask import Blueprint, current_app, make_response, request
from markupsafe import Markup
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.core.languages import LANGUAGES
from notify.flows import set_up, view_held
from notify.flows.processing import record
from notify.flows.view_held import Held
from notify.render.processing_says import record_facts
from notify.web.counter import desk_words as d
from notify.web.counter import held_pictures as drawn
from notify.web.counter import held_says as says
from notify.web.counter import pictures
from notify.web.errors import page_label
from notify.web.here import ctx, current_actor, services, shop_id
from notify.web.pages import Problem, redirect_with, render_page, say

pages = Blueprint("held", __name__)
PATH, RECORD = "/held", "/held/record"
_KEY = "shelfbell.held"
_LASTS = timedelta(minutes=1)  # for the pictures, which are fetched right after the page that they stand on
# What the program cannot know of itself: settings of the shop.
SAID = (
    "controller", "joint_controller", "representative", "officer", "recipients", "outside", "security", "authority",
)  # fmt: skip


@pages.get(PATH)
def show() -> Response:
    """Figures, pictures and the cases behind them."""
    seen, speak = _look(), say()
    hidden = seen.ahead.kept - len(seen.kept)
    return render_page(
        "held.html", here="", sentence=says.finding(seen), links=_links(),
        ages=says.ages(seen), age_heads=[d.capital(one) for one in says.AGES],
        periods=says.periods(seen, services().words.get("en")),
        not_advice=says.not_advice(), ahead=says.next_rows(seen.ahead), weeks=says.week_rows(seen.ahead, seen.today),
        stays=[{"number": one.number, "href": f"/tickets/{one.ticket_id}" if one.ticket_id else "",
                "sentence": says.stays(one)} for one in seen.kept],
        more_stay=f"{d.capital(d.count(hidden, 'more stays', 'more stay'))}." if hidden > 0 else "",
        consents=says.consent_rows(seen), suppressed=says.suppressed(seen),
        asked=[_asked(one) for one in seen.asked],
        last_run=says.last_run(seen, speak), erasures=says.erasures(seen, speak), backups=says.backups(seen, speak),
        keys=says.keys(seen),
        charts={
            "ages": pictures.shown(f"{PATH}/ages", says.ages_in_words(seen)),
            "next": pictures.shown(f"{PATH}/next", says.next_in_words(seen.ahead)),
            "consents": pictures.shown(f"{PATH}/consents", says.consents_in_words(seen)),
        },
    )  # fmt: skip


def _look() -> Held:
    """Everything counted anew, and kept for the pictures: figures, codes and claim numbers, of one look a shop."""
    seen = view_held.view(ctx(), current_actor(), services().settings)
    current_app.extensions.setdefault(_KEY, {})[shop_id()] = seen
    return seen


def _asked(one: view_held.Asked) -> dict[str, Any]:
    said = says.asked(one.kind, one.days_left)
    return {"number": one.number, "href": f"/requests/{one.id}", "sentence": said, "late": one.days_left < 0}


def _links() -> list[dict[str, str]]:
    return [
        {"href": RECORD, "label": "Record of processing"}, {"href": "/privacy", "label": "What customers read"},
        {"href": "/requests", "label": "Requests by law"},
        {"href": "/contact-reads", "label": "Who looked at contacts"},
        {"href": "/held/erasures", "label": "Records of erasing"},
    ]  # fmt: skip


@pages.get(f"{PATH}/ages.svg")
def ages() -> Response:
    """How long customers are known."""
    return _picture("ages")


@pages.get(f"{PATH}/next.svg")
def coming() -> Response:
    """Who goes when."""
    return _picture("next")


@pages.get(f"{PATH}/consents.svg")
def consents() -> Response:
    """What people last said."""
    return _picture("consents")


def _picture(name: str) -> Response:
    """Of the figures on the page that was just made; a picture by itself counts for itself."""
    current_actor().need("settings")
    seen: Held | None = current_app.extensions.get(_KEY, {}).get(shop_id())
    if seen is None or not seen.now <= ctx().clock() < seen.now + _LASTS:
        seen = _look()
    answer = make_response(drawn.draw(name, seen, dark=request.args.get("shade") == "dark"))
    answer.content_type = "image/svg+xml"
    return answer


@pages.get(RECORD)
def processing() -> Response:
    """The record in one language, English where none is asked for."""
    return _record()


@pages.post(RECORD)
def keep() -> Response:
    """Keeps what only the shop can say."""
    typed = {name: request.form[name] for name in SAID if name in request.form}
    try:
        set_up.change_settings(ctx(), current_actor(), typed)
    except NotifyError as error:
        wrong = [{**one, "field": f"record-{one['field']}" if one["field"] else ""} for one in d.problems(error)]
        return _record(errors=wrong, status=422, typed=typed)
    return redirect_with(RECORD, "Kept: it stands in the record now.")


def _record(
    *, errors: list[Problem] | None = None, status: int = 200, typed: dict[str, str] | None = None
) -> Response:  # fmt: skip
    asked = request.args.get("language", "")
    language = asked if asked in LANGUAGES else "en"
    known = record(ctx(), current_actor(), services().settings)
    words = services().page_words.get(language)
    facts = record_facts(known, words, services().words.get(language))
    said: dict[str, Any] = {name: getattr(known.shop, name) for name in SAID} | (typed or {})
    return render_page(
        "record.html", here="", status=status, errors=errors, said=said, language=language,
        title=words["record.title"],
        fragment=Markup(services().words.record(language, facts)),  # noqa: S704 - our template has escaped every value
        language_links=[{"label": page_label(one), "code": one, "href": f"{RECORD}?language={one}"}
                        for one in LANGUAGES if one != language],
    )  # fmt: skip
