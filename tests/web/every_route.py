"""Every route of the application with real identifiers of one shop filled in, so that later routes are covered too."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from flask import Flask
from werkzeug.routing import Rule

from notify.core.actors import Actor
from notify.core.itip import Answer, Partstat
from notify.core.messages import MessageState
from notify.core.one_click import Use, make_stop_token
from notify.core.sources import Batch, Change
from notify.flows import (
    bench_order,
    feeds,
    moves,
    pads,
    parts,
    passes,
    pickup,
    questions,
    requests,
    set_up,
    take_changes,
)
from notify.flows.check_in_form import DeviceForm
from notify.flows.hear_reply import Heard, hear
from notify.store import calendar_answers, doubts, erasing, messages, tickets
from notify.web.routes import ROUTES, UNSAFE


@dataclass(frozen=True, slots=True)
class Asked:
    """One method of one route with its address filled in; `who` as in the list of routes."""

    method: str
    rule: str
    path: str
    who: str


def fill_house(house: Any) -> dict[str, str]:
    """A shop with one of everything; variable of a rule -> identifier."""
    ctx, owner = house.ctx, house.actor()
    set_up.put_supplier(ctx, owner, name="Lantern Spares", cutoff=None, delivers_at=None, days=1)
    radio = house.check_in(
        DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound", price_agreed="30")
    )
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(ctx, owner, radio.ticket_ids[0], phase)
    slot = pickup.offers(ctx, owner, radio.visit_id)[0].slot
    booking = pickup.book(ctx, owner, radio.visit_id, slot.local, fold=slot.fold)
    camera = house.check_in(DeviceForm("Otter camera", device_class="camera"), email="", phone="", name="Noor Vale")
    question = questions.ask(ctx, owner, camera.ticket_ids[0], kind="price", wording="New shutter?", price="40")
    part = parts.need(ctx, owner, camera.ticket_ids[0], name="Shutter")
    parts.order(ctx, owner, part, supplier="Lantern Spares")
    order = bench_order.take_next(ctx, owner, camera.ticket_ids[0])
    given = passes.give(ctx, owner, radio.visit_id, name="Ned Quay")
    house.deliver(after=91)
    heard = Heard("email", "ines@example.org", "May my sister collect it?", house.clock(), "k", "mail")
    reply = hear(ctx, house.shop_id, heard)
    no = Answer("REPLY", booking.uid, "ines@example.org", Partstat.DECLINED, stamp=house.clock())
    hear(ctx, house.shop_id, replace(heard, text="", key="c", calendar_answers=(no,)))
    with house.read() as unit:
        (asked,) = calendar_answers.open_answers(unit)
        sent = messages.list_messages(unit, states=(MessageState.SENT,))
        calls = messages.list_messages(unit, states=(MessageState.TO_CALL,))
        ticket = tickets.get_ticket(unit, radio.ticket_ids[0])
    feed = feeds.make_feed(ctx, owner, "Phone at the counter").path.removeprefix("/feeds/").removesuffix(".ics")
    stop_link = make_stop_token(Use(ticket.person_id, "email", "afterwards"), key=house.services.secret)
    list_actor = Actor(house.shop_id, "source", "bench")
    told = Change(2, {"reference": "J-77", "phase": "on the quay"})
    take_changes.take(ctx, list_actor, Batch("bench", "tickets", "UTC", {}, {}), [told])
    with house.read() as unit:
        (doubt,) = doubts.list_open(unit)
    asked_about = requests.ask(ctx, owner, radio.visit_id, ticket.person_id, kind="access", how="post",
                               made_sure="showed a passport")  # fmt: skip
    with house.ctx.db.write(house.shop_id) as unit:
        erased = erasing.add_erasure(unit, at=house.clock(), reason="asked", counts={"people": 1})
    return {
        "record_id": erased, "doubt_id": doubt.id, "token": ticket.token, "code": given.code,
        "visit_id": radio.visit_id, "ticket_id": radio.ticket_ids[0], "question_id": question,
        "part_id": part, "booking_id": booking.id, "message_id": sent[0].id, "call_id": calls[0].id,
        "order_id": order, "reply_id": reply, "answer_id": asked.id, "paper": "roll80", "link": stop_link, "feed": feed,
        "problem": "changed", "filename": "shelfbell.css", "name": "no-such-source",
        "pad_id": pads.make_pad(ctx, owner, tickets=2), "request_id": asked_about.id, "number": ticket.number,
    }  # fmt: skip


def every(app: Flask, values: dict[str, str], *, methods: frozenset[str] | None = None) -> Iterator[Asked]:
    """Each route and method; HEAD and OPTIONS too. A route with a variable that nobody filled is an error."""
    for rule in sorted(app.url_map.iter_rules(), key=lambda one: one.rule):
        access = ROUTES.get(rule.rule)
        for method in sorted(rule.methods or ()):
            if methods is None or method in methods:
                yield Asked(method, rule.rule, _fill(rule, values), access.who if access else "unlisted")


def unsafe(app: Flask, values: dict[str, str]) -> list[Asked]:
    """Each route and method that may change something."""
    return list(every(app, values, methods=UNSAFE))


def _fill(rule: Rule, values: dict[str, str]) -> str:
    path = rule.rule
    for name in rule.arguments:
        value = values["call_id"] if rule.rule.startswith("/calls/") and name == "message_id" else values[name]
        path = path.replace(f"<path:{name}>", value).replace(f"<{name}>", value)
    assert "<" not in path, f"{rule.rule}: a variable has no value here"
    return path
