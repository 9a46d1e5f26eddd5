"""Messages: the list with what became of each, and one message just as its reader sees it."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

from flask import Blueprint, make_response, request
from werkzeug.wrappers import Response

from notify.core.errors import Conflict, Invalid, NotFound, NotifyError
from notify.core.message_groups import GROUPS
from notify.core.messages import ENDED, Delivery
from notify.core.notices import AT_ONCE, NOTICES, SECRET
from notify.core.roles import may
from notify.flows.resend import REASONS, resend
from notify.flows.view_message_list import CHANNELS, Filter, MessageList, view
from notify.flows.view_messages import MessageLine, MessageShown, Try, view_one
from notify.render.preview import size_in_words
from notify.web.counter import desk_words as d
from notify.web.counter.cost import this_month
from notify.web.counter.fields import page_number
from notify.web.headers import LETTER_POLICY
from notify.web.here import ctx, current_actor, is_demo, services
from notify.web.pages import Problem, redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("messages", __name__)
_FILTER = ("group", "notice", "channel", "number")


@pages.get("/messages")
def show() -> Response:
    """What failed and what waits longest, then the newest, by the filter in the address."""
    only = Filter(**{name: request.args.get(name, "").strip()[:40] for name in _FILTER})
    number, errors = page_number(request.args.get("page", "")), []
    try:
        seen = view(ctx(), current_actor(), page=number, only=only)
    except NotifyError as error:
        errors = d.problems(error, fields={"state": "group", "claim_number": "number"})
        number, seen = 1, view(ctx(), current_actor())
    speak = say()
    return render_page(
        "messages.html", here="messages", errors=errors, status=422 if errors else 200,
        sentence=_sentence(seen, speak), oldest=_oldest(seen, speak), alarm=_alarm(seen),
        failed=[_line(one, speak) for one in seen.failed], messages=[_line(one, speak) for one in seen.lines],
        chosen={name: getattr(only, name) for name in _FILTER}, filtered=not only.is_empty(), choices=_choices(),
        newer_href=_page(only, number - 1) if number > 1 else "",
        older_href=_page(only, number + 1) if seen.has_older else "", spent=this_month(speak),
    )  # fmt: skip


def _page(only: Filter, number: int) -> str:
    asked = {name: getattr(only, name) for name in _FILTER if getattr(only, name)}
    return f"/messages?{urlencode({**asked, 'page': number})}"


def _choices() -> dict[str, list[dict[str, str]]]:
    """What each list of the filter offers."""
    return {
        "group": [{"code": code, "label": d.words()(f"message_group.{code}")} for code in GROUPS],
        "notice": [{"code": code, "label": d.staff_word("notice", code)} for code in NOTICES],
        "channel": [{"code": code, "label": d.capital(d.words()(f"channel.{code}"))} for code in CHANNELS],
    }


def _sentence(seen: MessageList, speak: Say) -> str:
    waits = "Nothing waits to leave"
    if seen.waiting:
        waits = d.capital(d.count(seen.waiting, "message waits to leave", "messages wait to leave"))
    return f"{waits}; the last left {d.at(speak, seen.last_sent)}." if seen.last_sent else f"{waits}."


def _oldest(seen: MessageList, speak: Say) -> d.Line | None:
    """The message that has waited longest: what, how long, why, until when."""
    if seen.oldest is None:
        return None
    line, since = seen.oldest.line, seen.oldest.since
    age, why = how_long(speak.now - since), reason(line.reason)
    until = f" It leaves {d.at(speak, seen.oldest.due_at)}." if seen.oldest.due_at > speak.now else ""
    because = f": {why}" if why else ""
    return {"href": f"/messages/{line.id}", "number": line.number, "subject": d.staff_word("notice", line.notice),
            "sentence": f"has waited {age}{because}.{until}"}  # fmt: skip


def _alarm(seen: MessageList) -> str:
    """One sentence when something that might have left is late; "" else."""
    if not seen.late:
        return ""
    how_many = d.capital(
        d.count(seen.late, "message should have left and has not", "messages should have left and have not")
    )
    longest = how_long(seen.late_for)
    when = f"for {longest}" if seen.late == 1 else f"the longest for {longest}"
    return f"{how_many}, {when}. Run shelfbell check: it says whether the way out is open."


def how_long(span: timedelta) -> str:
    """ "40 minutes", "five hours", "two days": one figure is enough."""
    minutes = int(span.total_seconds() // 60)
    if minutes < 120:
        return d.count(max(minutes, 1), "minute", "minutes")
    return d.count(minutes // 60, "hour", "hours") if minutes < 48 * 60 else d.count(minutes // 1440, "day", "days")


def _line(one: MessageLine, speak: Say) -> d.Line:
    more = " ".join(part for part in (heard(one, speak), twice(one)) if part)
    return {
        "href": f"/messages/{one.id}", "when": speak.when(one.when), "subject": d.staff_word("notice", one.notice),
        "number": one.number, "trouble": one.trouble, "sentence": fate(one, speak), "more": more,
        "again": bool(one.resend),
    }  # fmt: skip


def heard(one: MessageLine, speak: Say) -> str:
    """What was heard of it after it left; "" as long as nothing was."""
    if one.delivery in ("", Delivery.HANDED_OVER):
        return ""
    said = d.words()[f"delivery.{one.delivery}"]
    return said.replace("{at}", d.at(speak, one.delivery_at)) if one.delivery_at else said


def twice(one: MessageLine) -> str:
    """That it may have arrived twice, as nobody can know (RFC 1047)."""
    return "It may have arrived twice." if one.perhaps_twice else ""


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
        return f"to {one.staff}" if one.staff else "to the shop"
    return f"to {one.to}" if one.to and one.channel != "call" else ""


def reason(code: str) -> str:
    """Why, in words; "" without a code."""
    return d.word("message_reason", code.partition(":")[0]) if code else ""


@pages.get("/messages/<message_id>")
def one(message_id: str) -> Response:
    """One message as its reader sees it."""
    return _shown(message_id)


def _shown(message_id: str, *, errors: list[Problem] | None = None, status: int = 200, reason: str = "") -> Response:
    seen, speak = view_one(ctx(), current_actor(), message_id, whole_links=is_demo()), say()
    may_resend = (
        seen.line.state in ENDED and seen.line.notice not in AT_ONCE and not seen.line.forgotten
        and may(current_actor().role, "resend")
    )  # fmt: skip
    return render_page(
        "message.html", here="messages", subject=seen.subject or d.staff_word("notice", seen.line.notice),
        facts=_facts(seen, speak), text=seen.text, html_href=f"/messages/{message_id}/html" if seen.html else "",
        sms=seen.sms, sms_sentence=_counted(seen), say=seen.say, missing=_missing(seen),
        back_href="/messages", back_label="All messages",
        why_href=f"/tickets/{seen.line.ticket_id}/why#message-{message_id}", errors=errors, status=status,
        resend_href=f"/messages/{message_id}/resend" if may_resend else "", reason=reason,
        reasons=[{"code": code, "label": d.words()(f"resend_reason.{code}")} for code in REASONS],
    )  # fmt: skip


@pages.post("/messages/<message_id>/resend")
def once_more(message_id: str) -> Response:
    """Sends it once more if it is still true, or says on the same page why not."""
    reason = request.form.get("reason", "")
    try:
        made = resend(ctx(), current_actor(), message_id, reason=reason, look=services().dispatcher.look)
    except (Invalid, Conflict) as error:
        return _shown(message_id, errors=d.problems(error), status=422, reason=reason)
    said = "Somebody has to call: no way to write is left." if made.channel == "call" else "It is sent once more."
    if made.until is not None:
        said = f"It is sent once more {d.at(say(), made.until)}, at a decent hour."
    return redirect_with(f"/messages/{made.message_id}", said)


def _facts(seen: MessageShown, speak: Say) -> list[dict[str, str]]:
    line, pairs = seen.line, [("About", seen.line.number)]
    if seen.caused_by:
        pairs.append(("Because", d.words()(f"event.{seen.caused_by}")))
    pairs += [("What became of it", fate(line, speak)), ("Planned", speak.when(seen.created_at))]
    if line.state == "waiting":
        pairs.append(("No use after", speak.when(seen.expires_at)))
    pairs += [("Heard since", text) for text in (heard(line, speak), twice(line)) if text]
    if line.resend:
        pairs.append(("Once more", "Somebody had it sent again."))
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
    many = d.capital(d.count(seen.count.parts, "text message", "text messages"))
    return size_in_words(seen.count, messages=many)


def _missing(seen: MessageShown) -> str:
    if seen.text or seen.html or seen.sms or seen.say:
        return ""
    if seen.line.forgotten:
        return "The words were erased with the person's data. Only what became of the message is kept."
    if seen.line.state == "waiting":
        return "It is written just before it leaves, so that it says what is true then."
    if seen.line.notice in SECRET and seen.line.tried:
        return "Its words are not kept: they held a code, which nobody but its reader may know."
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
