"""Everything that is held about one person, as data: the answer to a request for access (GDPR art. 15 and 20).

The shape, for programs: an object with `format`, `version`, `made_at` and `shop`, and a list for each kind of data:
`kept` (what becomes of each visit's data, and when), those of store/held.PLACES, `messages`, and the `story` of the
visits that the person brought. Times are ISO 8601 in UTC, amounts whole minor units of `shop.currency`, codes are in
English.
Of anybody else there is only the name that this person gave for a pass. Names of staff stand nowhere.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from email import message_from_bytes, policy
from email.message import EmailMessage
from typing import Any

from notify.core.claim_number import hide_tokens, show_number
from notify.core.contact_code import hide_codes
from notify.core.notices import NOTICES, SECRET
from notify.core.one_click import hide_stop_links
from notify.flows.context import Context
from notify.flows.keeping import Fate, fate
from notify.store import events, held, messages, people, receipts, tickets, visits
from notify.store.database import Unit
from notify.store.held import Row
from notify.store.messages import Message

FORMAT, VERSION = "shelfbell-held-about", 1
Held = dict[str, Any]


def gather_held(ctx: Context, unit: Unit, *person_ids: str) -> Held:
    """The whole answer about somebody, who may have several rows (`same_person`), in the caller's transaction.

    Raises NotFound once they were forgotten.
    """
    for one in person_ids:
        held.needs_key(unit, one)
    shop, groups = ctx.shop(unit), {name: _rows(unit, name, person_ids) for name in held.PLACES}
    groups["messages"] = [_message(unit, message) for one in person_ids for message in held.message_ids(unit, one)]
    newest = visits.newest_visits(unit, person_ids)
    groups["kept"] = [{"visit_id": newest.get(one, ""), **kept(fate(ctx, unit, one))} for one in person_ids]
    brought = [row["visit_id"] for row in groups["visits"] if row["role"] == "bringer"]
    groups["story"] = [row for visit_id in brought for row in _story(unit, visit_id)]
    _name(unit, groups)
    return {
        "format": FORMAT, "version": VERSION, "made_at": ctx.clock().isoformat(),
        "shop": {"name": shop.name, "address": shop.address, "phone": shop.phone, "email": shop.email,
                 "controller": shop.controller, "authority": shop.authority, "currency": shop.currency},
        **groups,
    }  # fmt: skip


def same_person(unit: Unit, person_id: str, contact_id: str) -> tuple[str, ...]:
    """Our other rows of somebody who proved that they read a contact: of the same name, and reached there today.

    Whoever only shares their number or address is somebody else (GDPR art. 15(4)).
    """
    contact, name = people.get_contact(unit, contact_id), _folded(people.get_person(unit, person_id).name)
    if contact is None or contact.person_id != person_id or not name:
        return ()
    known = people.people_by_id(unit, people.current_owners(unit, contact.channel, contact.address))
    return tuple(sorted(one.id for one in known.values() if one.id != person_id and _folded(one.name) == name))


def _folded(name: str) -> str:
    return " ".join(name.casefold().split())


def _rows(unit: Unit, group: str, person_ids: Sequence[str]) -> list[Row]:
    return [row for one in person_ids for row in held.read_group(unit, group, one)]


def kept(found: Fate) -> Row:
    """What becomes of it: a code, the day on which it goes, and the codes of core/retention.EXCEPTIONS that keep it."""
    day = found.goes_on.isoformat() if found.goes_on else None
    return {"state": found.state, "goes_on": day, "because": list(found.reasons)}


def _name(unit: Unit, groups: Mapping[str, list[Row]]) -> None:
    """Claim numbers in the place of identifiers, the words of consents, and the names that were given for passes."""
    numbers = {ticket.id: show_number(ticket.number) for ticket in _tickets(unit, groups)}
    of_visit: dict[str, list[str]] = {}
    for ticket in _tickets(unit, groups):
        of_visit.setdefault(ticket.visit_id, []).append(show_number(ticket.number))
    for row in (row for rows in groups.values() for row in rows):
        if "visit_id" in row:
            row["numbers"] = of_visit.get(row.pop("visit_id"), [])
        if "ticket_id" in row:
            row["number"] = numbers.get(row.pop("ticket_id") or "", "")
    for row in groups["tickets"]:
        row["number"] = show_number(row["number"])
    shown = held.wordings_shown(unit, ((one["wording"], one["language"]) for one in groups["consents"]))
    for row in groups["consents"]:
        row["text"] = shown.get((row["wording"], row["language"]), "")
    named = people.people_by_id(unit, {row["person_id"] for row in groups["passes_given"]})
    for row in groups["told_by_other_systems"]:
        row["cells"] = json.loads(row["cells"])["cells"] if row["cells"] else {}
    for row in groups["passes_given"]:
        row["name"] = named[row.pop("person_id")].name


def _tickets(unit: Unit, groups: Mapping[str, list[Row]]) -> list[tickets.Ticket]:
    ids = {row["visit_id"] for rows in groups.values() for row in rows if row.get("visit_id")}
    return [ticket for whole in tickets.tickets_of_visits(unit, ids).values() for ticket in whole]


def _story(unit: Unit, visit_id: str) -> list[Row]:
    return [
        {"visit_id": visit_id, "ticket_id": event.ticket_id, "at": event.at.isoformat(), "kind": event.kind,
         "by": event.actor_kind}
        for event in events.story_of(unit, visit_id=visit_id)
    ]  # fmt: skip


def _message(unit: Unit, message_id: str) -> Row:
    message = messages.get_message(unit, message_id)
    assert message is not None  # just found in this transaction
    veil = hide_codes if message.notice in SECRET else str
    said = _said(unit, message)
    return {
        "visit_id": message.visit_id, "notice": message.notice, "channel": message.channel, "state": str(message.state),
        "reason": message.reason, "made_at": message.created_at.isoformat(),
        "ended_at": message.ended_at.isoformat() if message.ended_at else None, "delivery": message.delivery,
        "purpose": NOTICES[message.notice].purpose,
        **{name: veil(hide_stop_links(hide_tokens(text))) for name, text in said.items()},
        "tries": [{"at": one.at.isoformat(), "verdict": one.verdict, "text": one.text}
                  for one in receipts.receipts_of(unit, message.id)],
    }  # fmt: skip


def _said(unit: Unit, message: Message) -> dict[str, str]:
    """Subject and words as their reader saw them; empty while it is not composed."""
    data = messages.get_bytes(unit, message)
    mail = message_from_bytes(data, policy=policy.default) if data and message.channel == "email" else None
    words = _body(mail) if mail is not None else messages.get_sentence(unit, message)
    return {"subject": str(mail["Subject"] or "") if mail is not None else "", "words": words}


def _body(mail: EmailMessage) -> str:
    body = mail.get_body(("plain",))
    return str(body.get_content()) if body is not None else ""


def brought_by(unit: Unit, visit_id: str) -> str:
    """The person who brought a visit's devices: whom the claim page speaks to."""
    return visits.visit_people(unit, visit_id)["bringer"][0]
