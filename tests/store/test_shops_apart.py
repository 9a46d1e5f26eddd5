"""A shop's unit finds and changes nothing of another shop, whatever function is asked."""

from __future__ import annotations

import hashlib
import importlib
import inspect
import pkgutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from sqlalchemy import LargeBinary, select
from sqlalchemy.exc import IntegrityError, InternalError

import notify.store
from notify.core.actors import Actor
from notify.core.bench_order import Standing
from notify.core.clock_trail import Trail
from notify.core.errors import NotFound, NotifyError
from notify.core.events import Event
from notify.core.hours import Hours
from notify.core.itip import Decision
from notify.core.messages import MessageState
from notify.core.planner import Planned
from notify.core.ready import LEVELS, Forecast
from notify.core.requests import Kind
from notify.core.retention import default_rule
from notify.core.sources import Batch, Change, Doubt
from notify.core.stop_list import Granted, Stop
from notify.core.tickets import Phase
from notify.core.uncollected import Rule
from notify.flows import (
    api_tokens,
    at_bench,
    bench_order,
    data_holds,
    desk_notes,
    feeds,
    history,
    keep_rules,
    listeners,
    moves,
    pads,
    parts,
    passes,
    pickup,
    promises,
    questions,
    repair_kinds,
    requests,
    set_up,
    staff,
    take_changes,
)
from notify.flows import contact_codes as code_flow
from notify.flows.check_in_form import DeviceForm
from notify.flows.hear_reply import Heard, hear
from notify.store import (
    bookings,
    calendar_answers,
    contact_codes,
    messages,
    pad_tickets,
    people,
    schema,
    shops,
    tickets,
)
from notify.store import doubts as doubt_rows
from notify.store import parts as part_rows
from notify.store import passes as pass_rows
from notify.store import promises as promise_rows
from notify.store import questions as question_rows
from notify.store import requests as request_rows
from notify.store.calendar_answers import Said
from notify.store.consents import Saying
from notify.store.contact_codes import Waiting
from notify.store.database import Unit
from notify.store.erasing import Traces
from notify.store.forecasts import Run
from notify.store.listeners import Numbered
from notify.store.message_lists import Wanted
from notify.store.messages import Composed, Ending
from notify.store.past_jobs import PastJob
from notify.store.receipts import Told
from notify.store.sources import Row
from tests.parts.house import SHOP

# Functions whose first argument is a unit but which look at no row, or at those that their callers here name.
NO_ROWS = {
    "statements.given",
    "statements.rows_among",
    "statements.ids_beginning",
    "outbox.seal_bytes",
    "suppliers.habits_of",
    "retention.rule",  # without a row of its own a shop has the rule of the table
    "retention.rules",
    "shops.remembered",  # gives what its caller reads
    "clock_trails.worked_since",  # the clock is the installation's, and so is whoever worked by it
    "erasing.traces_of",  # says whom it was asked about; what it finds of them is `visits_of`
}


def full_shop(house: Any) -> dict[str, Any]:
    """Shop A with something in every table that the flows fill; what a curious caller may know of it."""
    ctx, owner = house.ctx, house.actor()
    staff_id = staff.add_staff(ctx, owner, name="Odile Wren", role="technician", password="four kind words", pin="4711")
    set_up.put_supplier(ctx, owner, name="Lantern Parts", cutoff=time(16), delivers_at=time(9), days=1)
    set_up.add_special_day(ctx, owner, date(2026, 12, 24), reason="holiday")
    kind = repair_kinds.put_kind(ctx, owner, name="Radio without sound", minutes=60)
    lines = b"kind,minutes,ended\nRadio without sound,45,2026-11-02\n"
    assert history.read_history(ctx, owner, lines).taken == 1
    done = house.check_in(
        DeviceForm("Kestrel radio", fault="hums", price_agreed="30", promise="2026-11-27T11:30"), once="key-1"
    )
    ticket = done.ticket_ids[0]
    desk_notes.add_note(ctx, owner, ticket, text="sticky dial beside the cone")
    order = bench_order.take_next(ctx, owner, ticket)
    absence = at_bench.note_away(ctx, owner, staff_id, "2026-12-01", "2026-12-04").absence_id
    part = parts.need(ctx, owner, ticket, name="speaker cone")
    parts.order(ctx, owner, part, supplier="Lantern Parts")
    question = questions.ask(ctx, owner, ticket, kind="price", wording="It costs more. Go on?", price="45")
    questions.answer(ctx, owner, question, answer="accept", said_by="Ines, by phone")
    promises.promise(ctx, owner, ticket, house.clock() + timedelta(days=2))
    parts.arrive(ctx, owner, part)
    for phase in ("in_line", "on_bench", "on_shelf"):
        moves.move(ctx, owner, ticket, phase)
    slot = pickup.offers(ctx, owner, done.visit_id)[0].slot
    booked = pickup.book(ctx, owner, done.visit_id, slot.local)
    feed = feeds.make_feed(ctx, owner, "Phone at the counter").id
    address = "https://clock.example.org/told"
    listener = listeners.add(ctx, owner, name="Wall clock", address=address, inner_hosts=()).id
    token = api_tokens.make_token(ctx, owner, name="books at night", scopes=["tickets:read"]).id
    house.deliver(after=120)
    given = passes.give(ctx, owner, done.visit_id, name="Ned Quay")
    reply = hear(ctx, house.shop_id, Heard("email", "ines@example.org", "dial the number", house.clock(), "k", "mail"))
    no = Said("REPLY", "declined", 0, house.clock(), Decision.FLAG_UNVERIFIED)
    with house.ctx.db.write(house.shop_id) as unit:
        answer = calendar_answers.add_answer(
            unit, booking_id=booked.id, visit_id=done.visit_id, reply_id=reply, said=no, state="open", how="",
            at=house.clock(),
        )  # fmt: skip
    code_flow.send_code(ctx, owner, done.visit_id, purpose="price")
    with house.read() as unit:
        bringer = tickets.get_ticket(unit, ticket).person_id
    asked = requests.ask(
        ctx, owner, done.visit_id, bringer, kind="correction", how="counter", note="sticky dial beside"
    ).id
    hold = data_holds.set_hold(ctx, owner, done.visit_id, "dispute", note="sticky dial beside")
    keep_rules.change_rule(ctx, owner, "contact_card", period="P1Y", valid_from=ctx.clock().date())
    pad_id = pads.make_pad(ctx, owner, tickets=1)
    told = [Change(1, {"reference": "J-77", "phase": "at sea"}), Change(2, {"reference": done.numbers[0]})]
    take_changes.take(ctx, Actor(house.shop_id, "source", "s"), Batch("s", "tickets", "UTC", {}, {}), told)
    with house.read() as unit:
        (doubt,) = doubt_rows.list_open(unit)
        whole = tickets.get_ticket(unit, ticket)
        message = messages.messages_of_visit(unit, done.visit_id)[0]
        code_id = contact_codes.newest_open(unit, done.visit_id, "price", now=house.clock())
        mine: dict[str, Any] = {
            "code_id": code_id, "waiting": Waiting(code_id, "c", 0, "h" * 64),
            "ticket": whole, "message": message, "booking": bookings.get_booking(unit, booked.id),
            "part": part_rows.get_part(unit, part), "question": question_rows.get_question(unit, question),
            "contact_id": people.contacts_of(unit, whole.person_id)[0].id,
            "found": pass_rows.get_pass(unit, given.pass_id),
            "promise": promise_rows.of_ticket(unit, ticket)[0],
            "request": request_rows.get_request(unit, asked), "request_id": asked,
            "pad_ticket": pad_tickets.of_pad(unit, pad_id)[0], "pad_id": pad_id,
        }  # fmt: skip
    return mine | {
        "token_id": token, "absence_id": absence, "hold_id": hold,
        "order_id": order, "order": Standing((ticket,), (ticket,)), "ran_at": house.clock(),
        "pass_id": given.pass_id, "kind_id": kind, "given_by": whole.person_id, "delegates": [mine["found"].person_id],
        "traces": Traces((whole.person_id,), (done.visit_id,), (ticket,)),
        "message_ids": [message.id], "doubt_id": doubt.id, "row_keys": [doubt.row_key],
        "reply_id": reply, "answer_id": answer, "feed_id": feed, "listener_id": listener,
        "supplier_id": mine["part"].supplier_id,
        "ticket_id": ticket, "visit_id": done.visit_id, "person_id": whole.person_id, "number": whole.number,
        "token": whole.token, "token_hash": hashlib.sha256(whole.token.encode()).hexdigest(), "part_id": part,
        "question_id": question, "booking_id": booked.id, "message_id": message.id, "staff_id": staff_id, "slot": slot,
    }  # fmt: skip


def _forecast(ticket_id: str, at: datetime) -> Forecast:
    return Forecast(ticket_id=ticket_id, made_at=at, grid=(at,) * len(LEVELS), level=0.9, quantile_at=at, promise_at=at)


def arguments(mine: dict[str, Any], house: Any) -> dict[str, Any]:
    """A value for every name of a parameter in the store: identifiers are shop A's."""
    now = house.clock()
    planned = Planned("ready", mine["person_id"], "sms", mine["contact_id"], f"visit:{mine['visit_id']}", "x", now, now)
    return mine | {
        "person_ids": [mine["person_id"]], "ids": [mine["person_id"], mine["ticket_id"], mine["visit_id"]],
        "ticket_ids": [mine["ticket_id"]], "visit_ids": [mine["visit_id"]], "event_id": "e", "follows_id": None,
        "people": {"bringer": [mine["person_id"]], "tell": [mine["person_id"]]}, "role": "tell",
        "names": [mine["person_id"]],
        "at": now, "now": now, "until": now, "first": now - timedelta(days=40), "last": now + timedelta(days=40),
        "after": now - timedelta(days=40), "starts_at": now, "ends_at": now + timedelta(days=1),
        "moment": now - timedelta(days=40), "today": now.date(), "valid_from": now.date(), "day": now.date(),
        "expired_at": None, "expires_at": now, "recorded_at": now, "since": now - timedelta(days=40),
        "saying": Saying("sms", True, {"repair": "w"}, "en", "counter", now), "purposes": ["repair"], "child": True,
        "versions": {"device": "w"},
        "channel": "sms", "address": "+447700900123", "purpose": "repair", "allowed": True, "basis": "contract",
        "wording": "w", "language": "en", "how": "counter", "name": "Odile Wren", "name_or_id": "Lantern Parts",
        "part_ids": [mine["part"].id], "lines": [mine["part"]], "article": "A 1", "instead_of": None,
        "kind": "price", "price": 1, "texts": {"device": "x"}, "text": "x", "label": mine["part"].label,
        "plan": (planned,), "sealed_for": mine["person_id"], "refs": {}, "by": "w", "data": b"x", "sentence": "s",
        "notices": ("ready",), "state": MessageState.SENT, "states": (), "reason": "r",
        "causes": [mine["message"].cause], "limit": 50,
        "verdict": "accepted", "code": "c", "phases": list(Phase), "waits_here": False, "key": "check_in:key-1",
        "result": {}, "password_hash": "h", "pin_hash": "h", "session_hash": "h", "window": timedelta(hours=1),
        "why": "closed", "seat": 7,
        "values": {"name": "B"}, "cutoff": None, "delivers_at": None, "days": 1, "opens": None, "closes": None,
        "zone": "", "working_days": "1111100", "closed_days": (), "holidays_of": "", "redelivers": False,
        "delays": (1, 0), "capacity": 1, "uid": "u", "organizer_token": "o", "counts": {}, "source": "s",
        "digest": "d", "row_key": "k", "changed": [Row("k", "d", mine["ticket_id"], now)], "word": "w", "ours": "o",
        "numbers": [mine["number"]], "doubt": Doubt.UNKNOWN_WORD, "line": 1, "cells": {"phase": "x"}, "field": "phase",
        "told_at": None, "seen_at": now, "keys": [mine["person_id"]], "doubted": 1, "stale": 1,
        "taken": 1, "refused": 0, "hours_id": mine["ticket_id"], "special_id": mine["ticket_id"],
        "booking_ids": [mine["booking_id"]], "tokens": [mine["booking"].organizer_token], "uids": [mine["booking"].uid],
        "partstat": "accepted", "sequence": 0, "stamp": now, "among": [Decision.FLAG_UNVERIFIED],
        "decision": Decision.FLAG_UNVERIFIED,
        "said": Said("REPLY", "accepted", 0, now, Decision.APPLY), "answer_id": mine["answer_id"],
        "seq": 0, "new_id": "l-new", "secret": "whsec_x", "old_secret": "whsec_y", "after_seq": 0, "status": 422,
        "event_ids": ["e-new"],
        "one": Numbered(1, Event("e-new", "checked_in", now, mine["visit_id"], mine["ticket_id"]), "K7M2X9T"),
        "feed_id": mine["feed_id"], "stamps": {mine["booking_id"]: now + timedelta(days=400)},
        "event": Event("e-new", "checked_in", now, mine["visit_id"], mine["ticket_id"]), "notice": "ready",
        "before": now + timedelta(days=40), "provider_id": "theirs", "subject": "s", "sender": "ines@example.org",
        "letter_id": "<l@example.org>", "taken_at": now, "beginning": mine["reply_id"][:8], "delivery": "delivered",
        "rows": [{"the_id": mine["message"].id, "message_id": "<x@example.org>"}], "but_not": (),
        "composed": Composed(b"x", "<x@example.org>", "s", "sms", mine["contact_id"]),
        "persons": [mine["person_id"]], "visits": [mine["visit_id"]],
        "endings": [Ending(mine["message"], MessageState.SENT)],
        "tries": [Told(mine["message"], "accepted", "c", "x")],
        "job": PastJob(mine["kind_id"], 20.0, now), "read": [("d" * 40, PastJob(mine["kind_id"], 20.0, now))],
        "jobs": 1, "total": 3.0, "squares": 9.0, "sums": [(mine["kind_id"], 1, 3.0, 9.0)], "digests": ["d" * 40],
        "minutes": 20, "device_class": "radio", "kinds": ("checked_in",),
        "staff_ids": [mine["staff_id"]], "email": "odile@example.net", "phone": "+447700900777",
        "wanted": Wanted(visit_id=mine["visit_id"]), "bounds": [now - timedelta(days=40), now + timedelta(days=40)],
        "scopes": ["tickets:read"], "answer": {"ticket": "t"}, "prefix": "check_in:",
        "also_replaced": True, "place": 1, "wordings": {},
        "promise_at": now, "made_at": now, "made_by": "staff", "promise_id": mine["promise"].id,
        "settled": replace(mine["promise"], pit=0.5),
        "forecast": _forecast(mine["ticket_id"], now), "made": (_forecast(mine["ticket_id"], now),),
        "run": Run(now, "1:x:", None, 1), "run_stamp": "0:x:",
        "forecasts": {mine["ticket_id"]: _forecast(mine["ticket_id"], now)},
        "device_with_us": True, "channels_on": frozenset({"email", "sms"}), "bell": timedelta(0), "person": None,
        "rule": Rule("quay", "Quay law", 14, 28, "in writing", "Quay Act"),
        "group": "contacts", "request_id": mine["request_id"], "request": mine["request"], "received_at": now,
        "proved_at": now, "due_on": now.date(), "ended_at": None, "note": "x",
        "codes": [("repair-1", "en")], "trail": Trail(now),
        "reader_kind": "staff", "reader_id": mine["staff_id"], "seen": [(mine["person_id"], mine["contact_id"])],
        "listed": [Stop(house.shop_id, "stop-new", "sms", "0" * 64, "k1", "reply", now, None, "")],
        "granted": [Granted(house.shop_id, "request-new", mine["person_id"], mine["visit_id"], "objection", "counter",
                            now, now, None)],
        "data_class": "contact_card", "new": replace(default_rule("contact_card"), valid_from=now.date()),
        "review_on": now.date(),
        "row": Hours(weekday=1, opens=time(9), closes=time(10), capacity=1, valid_from=date(2026, 1, 1),
                     valid_until=None),
    }  # fmt: skip


OTHER = SHOP | {
    "name": "Ferry Slip Repairs", "address": "9 Net Loft, Quillhaven", "email": "slip@example.net",
    "phone": "+44 1632 960999",
}  # fmt: skip
# How the store says no: there is no such thing, or the composite key does not exist, or (PostgreSQL) only reading.
REFUSALS = (NotifyError, IntegrityError, InternalError)
COLUMNS: dict[str, dict[str, Any]] = {
    "change_part": {"state": "dead"}, "change_question": {"state": "expired"}, "mark": {"reminded": True},
    "change_ticket": {"paid": True}, "add_ticket": {"safety": [], "device_class": "radio"},
    "change_staff": {"active": False}, "change_kind": {"minutes": 5}, "put_state": {"position": "p"},
    "hold": {"attempts": 3}, "change_hold": {"rung_for": date(2027, 1, 4)},
}  # fmt: skip
# Where a name means something else than in the other functions.
OWN: dict[str, dict[str, Any]] = {
    "add_request": {"kind": Kind.ACCESS},
    "extend": {"until": date(2027, 1, 4)},
    "parts_after": {"after": "", "states": ("arrived", "fitted")},
    "tickets_after": {"after": ""},
    "drop_some": {"kind": "consent_record", "most": 5},
    "note": {"place": "calls"},
    "rehash": {"key_id": "k9", "after": ""},
}

# What a shop without any repairs may answer with a number: that this letter is new there, its own first try, how many
# rows the whole installation was rid of, and the revision that follows that of the booking it was handed.
COUNT_THERE = {"suppress", "take", "count_try", "purge_tries", "close_booking"}


def store_functions() -> Iterator[tuple[str, Callable[..., Any]]]:
    """Every public function of the store whose first argument is a unit."""
    for module in pkgutil.iter_modules(notify.store.__path__):
        if module.ispkg:
            continue
        room = importlib.import_module(f"notify.store.{module.name}")
        for name, found in inspect.getmembers(room, inspect.isfunction):
            first = next(iter(inspect.signature(found).parameters.values()), None)
            mine = found.__module__ == room.__name__ and not name.startswith("_")
            if mine and first is not None and first.name == "unit" and f"{module.name}.{name}" not in NO_ROWS:
                yield f"{module.name}.{name}", found


def call(found: Callable[..., Any], unit: Unit, known: dict[str, Any]) -> Any:
    args: list[Any] = []
    named: dict[str, Any] = {}
    known = known | {"shop": shops.get_shop(unit, today=known["today"])} | OWN.get(found.__name__, {})
    for parameter in list(inspect.signature(found).parameters.values())[1:]:
        if parameter.kind is parameter.VAR_KEYWORD:
            named |= COLUMNS.get(found.__name__, {})
        elif parameter.name in known and parameter.kind is parameter.KEYWORD_ONLY:
            named[parameter.name] = known[parameter.name]
        elif parameter.name in known:
            args.append(known[parameter.name])
        elif parameter.default is parameter.empty:
            raise LookupError(f"give `arguments` a value for {parameter.name!r} of {found.__name__}")
    return found(unit, *args, **named)


def told(thing: Any) -> Iterator[str]:
    """Every text in an answer, however deep."""
    if isinstance(thing, str):
        yield thing
    elif isinstance(thing, dict):
        for key, value in thing.items():
            yield from told(key)
            yield from told(value)
    elif is_dataclass(thing) and not isinstance(thing, type):
        for one in fields(thing):
            yield from told(getattr(thing, one.name))
    elif hasattr(thing, "_mapping"):
        yield from told(dict(thing._mapping))
    elif isinstance(thing, (list, tuple, set, frozenset)):
        for one in thing:
            yield from told(one)


def counts(thing: Any) -> bool:
    """Whether an answer holds a number but 0, or a yes."""
    if isinstance(thing, dict):
        return any(map(counts, thing.values()))
    if isinstance(thing, (list, tuple, set, frozenset)):
        return any(map(counts, thing))
    return isinstance(thing, (int, float)) and bool(thing)


def rows_of(connection: Any, shop_id: str) -> tuple[str, set[str]]:
    """A digest of everything a shop has, and the identifiers and texts in it that are its own."""
    whole, own = hashlib.sha256(), set()
    for table in schema.metadata.sorted_tables:
        if "shop_id" not in table.c:
            continue
        rows = connection.execute(select(table).where(table.c.shop_id == shop_id)).mappings().all()
        whole.update(repr(sorted(repr(dict(row)) for row in rows)).encode())
        for row in rows:
            for column in table.c:
                text = isinstance(row[column.name], str) and not isinstance(column.type, LargeBinary)
                if text and len(row[column.name]) >= 16:
                    own.add(row[column.name])
    return whole.hexdigest(), own - {shop_id}


@pytest.fixture
def second(house: Any) -> Actor:
    other = set_up.make_shop(house.ctx, settings=OTHER)
    return Actor(other, "staff", "staff-b", "owner")


class TakenBack(Exception):
    """Ends a transaction that was only asked what it would do."""


def ask_there(
    house: Any, found: Callable[..., Any], there: str, known: dict[str, Any]
) -> tuple[list[str], bool, str]:  # fmt: skip
    """What a function tells in a unit of the other shop, whether it counts anything, and our digest then ("" where the
    database had refused).

    All of it is taken back: what the question itself wrote there with our texts would look like a leak later on.
    """
    answer: Any = ()
    now = ""
    with suppress(*REFUSALS, TakenBack), house.ctx.db.write(there) as unit:
        answer = call(found, unit, known)
        now, _ = rows_of(unit.connection, house.shop_id)
        raise TakenBack
    return list(told(answer)), counts(answer), now


@pytest.mark.long
def test_no_function_of_the_store_finds_or_changes_anything_of_another_shop(house: Any, second: Actor) -> None:
    known = arguments(full_shop(house), house)
    with house.read() as unit:
        before, own = rows_of(unit.connection, house.shop_id)
    secrets = own | {"Ines Farrow", "ines@example.org", "+447700900123", "Kestrel radio", "hums", known["token"]}
    secrets |= {"sticky dial beside the cone"}
    asked = found_own = changed = 0
    leaks: list[str] = []
    for found in dict(store_functions()).values():
        asked += 1
        # The same question inside the own shop must find something: a proof of the question.
        with house.read() as unit, suppress(*REFUSALS):
            found_own += any(text in secrets for text in told(call(found, unit, known)))
        answer, counted, now = ask_there(house, found, second.shop_id, known)
        if any(text in secrets for text in answer) or (counted and found.__name__ not in COUNT_THERE):
            leaks.append(f"{found.__module__}.{found.__name__}")
        changed += now not in ("", before)
    print(f"FIGURE D16_store functions={asked} found_own={found_own} leaks={len(leaks)} changed={changed}")
    assert asked >= 80 and found_own >= 20 and not leaks and changed == 0, leaks


def test_another_shops_person_cannot_be_forgotten_and_keeps_their_key(house: Any, second: Actor) -> None:
    from notify.flows import forget

    done = house.check_in()
    with house.read() as unit:
        person = tickets.get_ticket(unit, done.ticket_ids[0]).person_id
    with pytest.raises(NotFound):
        forget.erase_person(house.ctx, second, person)
    with house.read() as unit:
        assert people.get_person(unit, person).name == "Ines Farrow"


def test_a_request_key_repeated_in_another_shop_or_visit_is_no_repetition(house: Any, second: Actor) -> None:
    from notify.flows import check_in
    from notify.flows.check_in_form import PersonForm, VisitForm

    mine = house.check_in(once="key-1")
    form = VisitForm(bringer=PersonForm("Bo Marsh"), devices=(DeviceForm("reader"),), once="key-1")
    theirs = check_in.check_in(house.ctx, second, form)
    assert theirs.visit_id != mine.visit_id and house.check_in(once="key-1").visit_id == mine.visit_id
    long = "k" * 90
    assert house.check_in(once=long + "1").visit_id != house.check_in(once=long + "2").visit_id
