"""What customers and strangers wrote back: the list, the lines for other pages, and the button for having read it."""

from __future__ import annotations

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict
from notify.core.instants import noon
from notify.flows.replies import mark_seen
from notify.flows.view_replies import BrokenLine, ReplyLine, view
from notify.web.counter import desk_words as d
from notify.web.counter.back import back_to
from notify.web.counter.calendar_asks import asked_by_calendars
from notify.web.counter.fields import page_number
from notify.web.here import ctx, current_actor
from notify.web.pages import redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("replies", __name__)
_SHORT = 160  # characters of a reply on the day sheet


@pages.get("/replies")
def show() -> Response:
    """One page of the list, newest first, strangers' too."""
    number = page_number(request.args.get("page", ""))
    seen, speak = view(ctx(), current_actor(), page=number), say()
    sentence = d.capital(d.count(seen.new, "reply waits to be read", "replies wait to be read")) + "."
    return render_page(
        "replies.html", here="replies", sentence=sentence if seen.new else "Every reply has been read.",
        asks=asked_by_calendars(speak, back="/replies"),
        replies=[shown(one, speak, back="/replies") for one in seen.lines],
        newer_href=f"/replies?page={number - 1}" if number > 1 else "",
        older_href=f"/replies?page={number + 1}" if seen.has_older else "",
    )  # fmt: skip


@pages.post("/replies/<reply_id>/seen")
def seen(reply_id: str) -> Response:
    """Notes that somebody has read it."""
    back = back_to("/replies")
    try:
        mark_seen(ctx(), current_actor(), reply_id)
    except Conflict as error:
        return redirect_with(back, d.plain(error))
    return redirect_with(back, "It is noted that you have read it.")


def shown(one: ReplyLine, speak: Say, *, back: str) -> d.Line:
    """One reply with every key of templates/pages/_replies.html."""
    due = f"Answer them by {speak.day(noon(one.answer_by))}." if one.answer_by else ""
    by = f"Read by {one.by}." if one.by else ""
    return {
        "id": one.id, "when": speak.when(one.at), "who": writer(one), "read": read(one), "subject": one.subject,
        "text": one.text or _no_words(one), "is_quote": bool(one.text), "number": one.number, "due": due, "by": by,
        "href": f"/tickets/{one.ticket_id}#replies" if one.ticket_id else "", "is_new": one.is_new, "back": back,
        "can_request": one.kind == "erasure" and one.is_new and one.who == "customer",
    }  # fmt: skip


def _no_words(one: ReplyLine) -> str:
    return d.words()("reply_text.none" if one.sender or one.subject else "reply_text.erased")


def writer(one: ReplyLine) -> str:
    """Who wrote, by what way."""
    way = d.words()(f"channel.{one.channel}")
    if one.who == "customer":
        return f"{d.person(one.person)}, {way}"
    return d.words()(f"reply_who.{one.who}", sender=one.sender or "no address", way=way)


def read(one: ReplyLine) -> str:
    """What was read out of it and what became of it, or what is left to do."""
    special = f"reply_read.{one.kind}_{'done' if one.done else one.who}"
    return d.words()(special if special in d.words() else f"reply_read.{one.kind}")


def sheet_line(one: ReplyLine, speak: Say) -> d.Line:
    """A reply on the day sheet: its beginning, what was read out of it, and the button."""
    words = one.text or _no_words(one)
    short = words if len(words) <= _SHORT else f"{words[:_SHORT].rstrip()}…"
    due = f" Answer them by {speak.day(noon(one.answer_by))}." if one.answer_by else ""
    quoted = f"“{' '.join(short.split())}”" if one.text else short
    return d.sheet_line(
        writer(one), f"{d.capital(speak.when(one.at))}: {quoted} {read(one)}{due}", mark="question", number=one.number,
        href=f"/tickets/{one.ticket_id}#replies" if one.ticket_id else "/replies",
        buttons=[d.button(f"/replies/{one.id}/seen", "Read it", back="/")],
    )  # fmt: skip


def broken_line(one: BrokenLine, speak: Say) -> d.Line:
    """An address that does not work, and what to do."""
    what = "mobile number" if one.channel == "sms" else "e-mail address"
    return d.sheet_line(
        d.person(one.person),
        f"The {what} {one.masked} does not work: {why_broken(one.why)}, {d.at(speak, one.since)}. Ask for another one.",
        mark="caution", number=one.number, href=f"/tickets/{one.ticket_id}",
    )  # fmt: skip


def why_broken(code: str) -> str:
    """Why an address is not used any more, in words."""
    return d.word("broken", code.partition(":")[0])
