"""The demo's page with every message as its reader sees it; outside the demo it does not exist."""

from __future__ import annotations

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.flows.view_demo_mail import view_demo_mail
from notify.web.here import ctx, current_actor
from notify.web.pages import render_page, say

pages = Blueprint("demo_mail", __name__)
_CHANNELS = {"email": "by e-mail", "sms": "by text message"}


@pages.get("/demo/mail")
def show() -> Response:
    """Newest first; the list of routes answers 404 where this is no demo."""
    told = say()
    letters = [
        {
            "href": f"/messages/{letter.message_id}", "when": told.when(letter.when), "to": letter.to,
            "subject": letter.subject or "Text message", "sms": letter.sms,
            "channel_words": _CHANNELS.get(letter.channel, letter.channel),
        }
        for letter in view_demo_mail(ctx(), current_actor())
    ]  # fmt: skip
    return render_page("demo_mail.html", here="demo_mail", letters=letters)
