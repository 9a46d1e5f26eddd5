"""Messages, the story of the shop, and who is asking; one flow each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from notify.core.errors import NotFound
from notify.flows import resend, view_api, view_sources
from notify.flows.source_shop import watches_of
from notify.flows.view_desk import view_shop
from notify.flows.view_messages import MessageShown, view_one
from notify.web.api import told
from notify.web.api.call import Call, Do, when
from notify.web.api.describe import describe
from notify.web.api.problems import KINDS, PATH
from notify.web.here import services

Given = Mapping[str, Any]


def _me(call: Call) -> Given:
    shop = view_shop(call.ctx, call.actor.shop_id)
    return {"token": call.name, "scopes": sorted(call.actor.scopes), "shop": {
        "id": call.actor.shop_id, "name": shop.name, "zone": shop.zone, "currency": shop.currency,
        "language": shop.language,
    }}  # fmt: skip


def _messages(call: Call) -> Given:
    asked = call.query
    page = view_api.messages_page(
        call.ctx, call.actor, group=asked.get("state", ""), notice=asked.get("notice", ""),
        channel=asked.get("channel", ""), number=asked.get("number", ""), before=asked.get("after", 0),
        limit=asked["limit"],
    )  # fmt: skip
    return {"messages": [told.message(one) for one in page.lines], "next": page.next or None}


def _message(call: Call) -> Given:
    shown = view_one(call.ctx, call.actor, call.at["message_id"])
    return {
        **told.message(shown.line), "created_at": when(shown.created_at), "expires_at": when(shown.expires_at),
        "caused_by": shown.caused_by, "said": _said(shown) if call.sees_contacts else None,
    }  # fmt: skip


def _said(shown: MessageShown) -> Given:
    return {"subject": shown.subject, "text": shown.text, "sms": shown.sms, "say": shown.say}


def _resend(call: Call) -> Given:
    done = resend.resend(call.ctx, call.actor, call.at["message_id"], reason=call.body["reason"],
                         look=services().dispatcher.look)  # fmt: skip
    return {"message": done.message_id, "channel": done.channel, "until": when(done.until)}


def _sources(call: Call) -> Given:
    every = services().settings.watch
    mine = watches_of(call.ctx, services().shop_ids(), every, call.actor.shop_id) if every else ()
    seen = view_sources.view(call.ctx, call.actor, mine, source=call.query.get("source", ""), limit=call.query["limit"])
    return {
        "sources": [_source(one) for one in seen.lines], "doubts": [_doubt(one) for one in seen.doubts],
        "more": max(0, seen.more),
    }  # fmt: skip


def _source(one: view_sources.SourceLine) -> Given:
    return {
        "name": one.name, "kind": one.kind, "about": one.about, "waiting": one.waits, "trouble": one.state.trouble,
        "looked_at": when(one.state.looked_at), "silent_since": when(one.silent_since),
    }  # fmt: skip


def _doubt(one: view_sources.DoubtLine) -> Given:
    return {
        "id": one.id, "source": one.source, "about": one.about, "kind": one.kind, "reason": one.reason,
        "reference": one.reference, "word": one.word, "means": one.means,
        "ticket": one.ticket.ticket_id if one.ticket else None, "seen_at": when(one.seen_at),
        "told_at": when(one.told_at), "cells": dict(one.cells),
    }  # fmt: skip


def _events(call: Call) -> Given:
    since = call.query["since"]
    page = view_api.events_page(call.ctx, call.actor, since=since, limit=call.query["limit"])
    lines = [
        {"seq": seq, "id": one.id, "kind": one.kind, "at": when(one.at), "visit": one.visit_id,
         "ticket": one.ticket_id or None, "by": one.actor_kind, "by_id": one.actor_id or None, "codes": dict(one.codes)}
        for seq, one in page.events
    ]  # fmt: skip
    return {"events": lines, "next": page.events[-1][0] if page.events else since, "more": page.more}


def about_problem(name: str) -> Given:
    """What a kind of problem means; raises NotFound."""
    if name not in KINDS:
        raise NotFound("There is no such kind of problem", f"There are: {', '.join(KINDS)}.")
    status, title = KINDS[name]
    return {"type": PATH + name, "status": status, "title": title}


DO: dict[str, Do] = {
    "me": _me, "list_messages": _messages, "show_message": _message, "resend": _resend, "list_events": _events,
    "list_sources": _sources,
    "openapi": lambda call: describe(), "problem": lambda call: about_problem(call.at["problem"]),
}  # fmt: skip
