"""Messages: the list with what became of each, and one message just as its reader sees it."""

from __future__ import annotations

from flask import Blueprint, make_response, request
from werkzeug.wrappers import Response

from notify.core.errors import NotFound
from notify.flows.view_messages import MessageLine, MessageList, MessageShown, Try, view, view_one
from notify.web.counter import desk_words as d
from notify.web.headers import LETTER_POLICY
from notify.web.here import ctx, current_actor, is_demo
from notify.web.pages import render_page, say
from notify.web.say import Say

pages = Blueprint("messages", __name__)
_LAST_PAGE = 10_000


@pages.get("/messages")
def show() -> Response:
    """One page of the list, newest first."""
    number = _asked_page()
    seen, speak = view(ctx(), current_actor(), page=number), say()
    return render_page(
        "messages.html", here="messages", sentence=_sentence(seen, speak),
        messages=[_line(one, speak) for one in seen.lines],
        newer_href=f"/messages?page={number - 1}" if number > 1 else "",
        older_href=f"/messages?page={number + 1}" if seen.has_older else "",
    )  # fmt: skip


def _asked_page() -> int:
    text = request.args.get("page", "1")
    return max(1, min(int(text), _LAST_PAGE)) if text.isascii() and text.isdigit() and len(text) < 6 else 1


def _sentence(seen: MessageList, speak: Say) -> str:
    waits = "Nothing waits to leave"
    if seen.waiting:
        waits = d.capital(d.count(seen.waiting, "message waits to leave", "messages wait to leave"))
    return f"{waits}; the last left {d.at(speak, seen.last_sent)}." if seen.last_sent else f"{waits}."


def _line(one: MessageLine, speak: Say) -> d.Line:
    return {
        "href": f"/messages/{one.id}", "when": speak.when(one.when), "subject": d.staff_word("notice", one.notice),
        "number": one.number, "trouble": one.trouble, "sentence": fate(one, speak),
    }  # fmt: skip


def fate(one: MessageLine, speak: Say) -> str:
    """To whom, by what, and what became of it: "By e-mail to p••@example.org, left at 9:20."."""
    state = f"message_state.{one.state}"
    became = d.words()(state, at=d.at(speak, one.at)) if "{at}" in d.words()[state] else d.words()(state)
    way = " ".join(part for part in (_way(one.channel), _to(one)) if part)
    why = reason(one.reason)
    shown = f"{way}, {became}" if way else became
    return f"{d.capital(shown)}{f': {why}' if why else ''}."


def _way(channel: str) -> str:
    return d.words()(f"channel.{channel}") if channel else ""


def _to(one: MessageLine) -> str:
    if one.shop:
        return "to the shop"
    return f"to {one.to}" if one.to and one.channel != "call" else ""


def reason(code: str) -> str:
    """Why, in words; "" without a code."""
    return d.word("message_reason", code.partition(":")[0]) if code else ""


@pages.get("/messages/<message_id>")
def one(message_id: str) -> Response:
    """One message as its reader sees it."""
    seen, speak = view_one(ctx(), current_actor(), message_id, whole_links=is_demo()), say()
    return render_page(
        "message.html", here="messages", subject=seen.subject or d.staff_word("notice", seen.line.notice),
        facts=_facts(seen, speak), text=seen.text, html_href=f"/messages/{message_id}/html" if seen.html else "",
        sms=seen.sms, sms_sentence=_counted(seen), say=seen.say, missing=_missing(seen),
        back_href="/messages", back_label="All messages",
    )  # fmt: skip


def _facts(seen: MessageShown, speak: Say) -> list[dict[str, str]]:
    line, pairs = seen.line, [("About", seen.line.number)]
    if seen.caused_by:
        pairs.append(("Because", d.words()(f"event.{seen.caused_by}")))
    pairs += [("What became of it", fate(line, speak)), ("Planned", speak.when(seen.created_at))]
    if line.state == "waiting":
        pairs.append(("No use after", speak.when(seen.expires_at)))
    if seen.has_invite:
        pairs.append(("Enclosed", "The pickup for the calendar"))
    pairs += [(f"Try {i}", _tried(one, speak)) for i, one in enumerate(seen.tries, 1)]
    return [{"name": name, "value": value} for name, value in pairs]


def _tried(one: Try, speak: Say) -> str:
    said = f" The other side said: {one.text}" if one.text else ""
    return f"{d.capital(d.at(speak, one.at))}: {d.word('verdict', one.verdict)}.{said}"


def _counted(seen: MessageShown) -> str:
    if seen.count is None:
        return ""
    parts, units = seen.count.parts, seen.count.units
    room = {"GSM-7": (160, 153), "UCS-2": (70, 67)}[seen.count.encoding][parts > 1]
    whole = f"{d.capital(d.count(parts, 'text message', 'text messages'))}, {units} of {room * parts} characters."
    return whole if seen.count.first_offending is None else (
        f"{whole} The sign “{seen.count.first_offending}” makes each hold fewer characters."
    )  # fmt: skip


def _missing(seen: MessageShown) -> str:
    if seen.text or seen.html or seen.sms or seen.say:
        return ""
    if seen.line.forgotten:
        return "The words were erased with the person's data. Only what became of the message is kept."
    if seen.line.state == "waiting":
        return "It is written just before it leaves, so that it says what is true then."
    return "It was never written."


@pages.get("/messages/<message_id>/html")
def letter(message_id: str) -> Response:
    """The HTML part alone, for the frame of the page above; its own policy lets it do nothing."""
    html = view_one(ctx(), current_actor(), message_id, whole_links=is_demo()).html
    if not html:
        raise NotFound("This message has no part for mail programs", "Read its plain text instead.")
    response = make_response(html)
    response.headers["Content-Security-Policy"] = LETTER_POLICY
    return response
