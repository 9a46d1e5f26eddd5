"""Who wrote a reply: the person our message went to, somebody we know by address, somebody else, or a stranger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from notify.core.contacts import parse_email, parse_phone
from notify.core.errors import Invalid
from notify.core.shop import Shop
from notify.store import messages, people, tickets, visits
from notify.store.database import Unit
from notify.store.messages import Message


@dataclass(frozen=True, slots=True, repr=False)
class Writer:
    """`address` is normalised, "" when it is none. `owners` (person -> contact) are all who are reached there today.

    `person_id` is the one of them whom the reply belongs to; "" for somebody else, who answers a message that went to
    another address (`visit_id` is its visit), and for a stranger (no visit either). `message_id` is our row that the
    reply names, and `is_sure` says that it went to this very person: whoever only writes down somebody's
    address as the sender's does not know its Message-ID. `to_shop`: it answers a message of the shop to itself.
    """

    address: str
    owners: Mapping[str, str]
    person_id: str = ""
    visit_id: str = ""
    ticket_id: str = ""
    message_id: str = ""
    sealed_for: str = ""
    to_shop: bool = False

    @property
    def is_sure(self) -> bool:
        """Whether the reply names one of our messages that went to this person."""
        return bool(self.person_id and self.message_id)

    @property
    def contact_id(self) -> str:
        """The contact that they wrote from."""
        return self.owners.get(self.person_id, "")


def find_writer(unit: Unit, shop: Shop, *, channel: str, sender: str, answers: Sequence[str]) -> Writer:
    """Who wrote from `sender` (an addr-spec or a number as dialled in the shop) in answer to these outbox rows."""
    address = normal_address(channel, sender, shop)
    owners = people.current_owners(unit, channel, address) if address else {}
    named = [found for one in answers if (found := messages.get_message(unit, one)) is not None]
    message = next((one for one in named if one.person_id in owners), next(iter(named), None))
    if message is not None and message.person_id in owners:
        return _known(unit, address, owners, message.person_id, message.visit_id, message)
    if owners:
        person_id, visit_id = next(iter(visits.newest_visits(unit, owners).items()), ("", ""))
        return _known(unit, address, owners, person_id, visit_id, None)
    return _somebody_else(unit, address, message) if message is not None else Writer(address, {})


def about_visit(unit: Unit, writer: Writer, visit_id: str, person_id: str) -> Writer:
    """The same writer in the visit that a calendar answer speaks of, which is `person_id`'s.

    Somebody we know by another visit stays there; a stranger is somebody else beside it.
    """
    if writer.visit_id == visit_id or writer.person_id not in ("", person_id):
        return writer
    ticket = _ticket(unit, visit_id, None)
    if writer.person_id:
        return replace(writer, visit_id=visit_id, ticket_id=ticket)
    if writer.visit_id:
        return writer
    return replace(writer, visit_id=visit_id, ticket_id=ticket, sealed_for=person_id)


def normal_address(channel: str, sender: str, shop: Shop) -> str:
    """The sender as addresses are stored; "" for a short code, a name, or anything else that is none."""
    try:
        return parse_email(sender) if channel == "email" else parse_phone(sender, region=shop.region or None).e164
    except Invalid:
        return ""


def _known(
    unit: Unit, address: str, owners: Mapping[str, str], person_id: str, visit_id: str, message: Message | None
) -> Writer:
    return Writer(
        address, owners, person_id, visit_id, _ticket(unit, visit_id, message), message.id if message else "",
        sealed_for=person_id,
    )  # fmt: skip


def _somebody_else(unit: Unit, address: str, message: Message) -> Writer:
    """Shown beside the visit, and forgotten with the person that the message was for."""
    keeper = message.person_id or message.sealed_for
    gone = people.is_forgotten(unit, keeper)
    return Writer(
        address, {}, visit_id="" if gone else message.visit_id, message_id=message.id,
        ticket_id="" if gone else _ticket(unit, message.visit_id, message), sealed_for="" if gone else keeper,
        to_shop=not message.person_id,
    )  # fmt: skip


def _ticket(unit: Unit, visit_id: str, message: Message | None) -> str:
    """The ticket that the answered message was about, or the visit's only one; "" for the whole visit."""
    kind, _, thing = message.about.partition(":") if message else ("", "", "")
    if kind == "ticket":
        return thing
    whole = list(tickets.phases_of_visit(unit, visit_id)) if visit_id else []
    return whole[0] if len(whole) == 1 else ""
