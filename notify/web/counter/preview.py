"""Previews: any message in any language as its reader sees it, filled with invented facts."""

from __future__ import annotations

from flask import Blueprint, make_response, request
from werkzeug.wrappers import Response

from notify.core.errors import NotFound
from notify.core.languages import LANGUAGES
from notify.core.notices import NOTICES
from notify.flows.view_preview import preview
from notify.render.preview import Preview, size_in_words
from notify.render.samples import Variant
from notify.web.counter import desk_words as d
from notify.web.headers import LETTER_POLICY
from notify.web.here import ctx, current_actor, services
from notify.web.pages import desk, render_page

pages = Blueprint("preview", __name__)
_FLAGS = {"battery": "with a swollen battery", "no_link": "without a public address", "several": "about two devices"}


@pages.get("/previews")
def show() -> Response:
    """The list of messages, and the one that was chosen (?notice=…&language=…&battery=1)."""
    notice, language = _asked("notice", tuple(NOTICES), "ready"), _asked_language()
    made = _made(notice, language)
    return render_page(
        "preview.html", here="messages", subject=made.subject, text=made.text, sms=made.sms, say=made.say,
        html_href=f"/previews/html?{_query(made)}" if made.html else "",
        sms_sentence=size_in_words(made.count) if made.count else "",
        notice_code=notice, notices=[{"code": name, "label": d.staff_word("notice", name)} for name in NOTICES],
        language_code=language,
        languages=[{"code": code, "label": services().words.get(code)["language.name"]} for code in LANGUAGES],
        flags=[{"name": name, "label": label, "on": bool(request.args.get(name))} for name, label in _FLAGS.items()],
        back_href="/messages", back_label="All messages",
    )  # fmt: skip


@pages.get("/previews/html")
def letter() -> Response:
    """The HTML part alone, for the frame of the page above; its own policy lets it do nothing."""
    html = _made(_asked("notice", tuple(NOTICES), "ready"), _asked_language()).html
    if not html:
        raise NotFound("This message has no part for mail programs", "Read its plain text instead.")
    response = make_response(html)
    response.headers["Content-Security-Policy"] = LETTER_POLICY
    return response


def _made(notice: str, language: str) -> Preview:
    variant = Variant(**{name: bool(request.args.get(name)) for name in _FLAGS})
    return preview(
        ctx(), current_actor(), services().wordings(), notice=notice, language=language, variant=variant
    )  # fmt: skip


def _asked(key: str, known: tuple[str, ...], otherwise: str) -> str:
    given = request.args.get(key, "")
    return given if given in known else otherwise


def _asked_language() -> str:
    return _asked("language", tuple(LANGUAGES), desk().shop.language)


def _query(made: Preview) -> str:
    flags = "".join(f"&{name}=1" for name in _FLAGS if getattr(made.variant, name))
    return f"notice={made.notice}&language={made.language}{flags}"
