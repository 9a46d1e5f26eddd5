"""People and contacts, sealed, and what of them may be used. Longer than other rooms: one look reads all together.

Addresses are found by blind index; the ledger of consents is written in store/consents.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain, groupby
from typing import Any, NamedTuple

from sqlalchemy import Select, func, insert, select, update

from notify.core.chunks import AT_ONCE
from notify.core.consent import allowed_on, may_be_asked, objected_on, standing
from notify.core.errors import NotFound
from notify.core.planner import Reach, Recipient
from notify.core.suppression import normal_form
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.stamps import people_changed
from notify.store.statements import among, given, is_in, rows_among, where

WRONG_NUMBER = "wrong_number"  # why a contact does not work: somebody else is reached there
_PERSON = select(s.people).where(*where(s.people, "id"))
_PEOPLE = select(s.people).where(*where(s.people), among(s.people, "id"))
CONTACT_COLUMNS = tuple(s.contacts.c[name] for name in (
    "id", "person_id", "channel", "address_sealed", "in_repaired_device", "undeliverable_at", "undeliverable_why",
    "suppressed_at", "suppressed_how",
))  # fmt: skip
_CURRENT = (
    select(*CONTACT_COLUMNS)
    .where(s.contacts.c.replaced_at.is_(None))
    .order_by(s.contacts.c.created_at, s.contacts.c.id)
)
_CONTACTS = _CURRENT.where(*where(s.contacts, "person_id"))
CONTACTS_AMONG = _CURRENT.where(*where(s.contacts), among(s.contacts, "person_id"))
_AT = select(s.contacts).where(*where(s.contacts), among(s.contacts, "lookup"))  # whoever was reached there
_REACHED_AT = _AT.where(s.contacts.c.replaced_at.is_(None)).order_by(s.contacts.c.created_at.desc(), s.contacts.c.id)
_FORGOTTEN = select(s.people.c.id).where(*where(s.people), among(s.people, "id"), s.people.c.forgotten_at.is_not(None))
_USES = (
    select(s.consents.c.person_id, s.consents.c.channel, s.consents.c.purpose, s.consents.c.allowed)
    .where(*where(s.consents), among(s.consents, "person_id"))
    .order_by(s.consents.c.seq)
)
_P, _C, _U, _R = s.people, s.contacts, s.consents, s.requests
SET_ASIDE = (is_in(_R.c.kind, "restriction"), is_in(_R.c.state, "done"), _R.c.lifted_at.is_(None))  # its requests
_IS_SET_ASIDE = select(_R.c.id).where(_R.c.shop_id == _P.c.shop_id, _R.c.person_id == _P.c.id, *SET_ASIDE).exists()
# One row for each current contact and consent to use it, the newest consent last.
_RECIPIENTS = (
    select(
        _P.c.id, _P.c.language, _P.c.forgotten_at, _P.c.child, _C.c.id.label("contact_id"), _C.c.channel,
        _C.c.in_repaired_device, _C.c.undeliverable_at, _C.c.suppressed_how, _U.c.purpose, _U.c.allowed,
        _IS_SET_ASIDE.label("set_aside"),
    )
    .join(_C, (_C.c.shop_id == _P.c.shop_id) & (_C.c.person_id == _P.c.id) & _C.c.replaced_at.is_(None), isouter=True)
    .join(_U, (_U.c.shop_id == _C.c.shop_id) & (_U.c.person_id == _C.c.person_id) & (_U.c.channel == _C.c.channel),
          isouter=True)
    .where(*where(_P), among(_P, "id"))
    .order_by(_P.c.id, _C.c.created_at, _C.c.id, _U.c.seq)
)  # fmt: skip


class Contact(NamedTuple):  # made for each of ten thousand: a frozen dataclass takes four times as long
    """One address or number of a person, opened. `suppressed_at` and how: store/suppressions.py."""

    id: str
    person_id: str
    channel: str
    address: str
    in_repaired_device: bool
    undeliverable: bool
    undeliverable_why: str = ""
    suppressed_at: datetime | None = None
    suppressed_how: str = ""


@dataclass(frozen=True, slots=True)
class Person:
    """A person, opened. `name` is empty when none was given or the person was forgotten; `child`: a child's contact."""

    id: str
    name: str
    language: str
    forgotten: bool
    child: bool = False


def add_person(unit: Unit, *, name: str, language: str, at: datetime, child: bool = False) -> str:
    """Makes a person with a data key of their own (the key first); the identifier."""
    new = unit.new_id()
    unit.vault.new_key(new)
    sealed = unit.seal(new, "people", new, "name", name) if name else None
    unit.connection.execute(
        insert(s.people).values(
            shop_id=unit.shop_id, id=new, language=language, name_sealed=sealed, created_at=at, child=child
        )
    )
    return new


def get_person(unit: Unit, person_id: str) -> Person:
    """The person; raises NotFound."""
    row = unit.once(("person", person_id), lambda: unit.connection.execute(_PERSON, given(unit, id=person_id)).first())
    if row is None:
        raise NotFound("There is no such person", "Look the ticket up again.")
    return _person(unit, row)


def _person(unit: Unit, row: Any) -> Person:
    gone = row.forgotten_at is not None
    name = "" if gone else unit.open(row.id, "people", row.id, "name", row.name_sealed)
    return Person(row.id, name, row.language, gone, row.child)


def exists(unit: Unit, person_id: str) -> bool:
    """Whether this shop knows the person, forgotten or not; opens nothing, so that it works without their key."""
    t = s.people
    query = select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.id == person_id)
    return unit.connection.execute(query).first() is not None


def is_forgotten(unit: Unit, person_id: str) -> bool:
    """Whether the person's data were erased; opens nothing."""
    return bool(forgotten_among(unit, (person_id,)))


def forgotten_among(unit: Unit, ids: Iterable[str]) -> frozenset[str]:
    """Those of these people whose data were erased."""
    return frozenset(unit.connection.execute(_FORGOTTEN, {**given(unit), "any_id": list(ids)}).scalars())


def people_by_id(unit: Unit, ids: Iterable[str]) -> Mapping[str, Person]:
    """identifier -> person, for those that exist."""
    wanted = sorted(set(ids))
    rows = rows_among(unit, _PEOPLE, "id", wanted) if wanted else ()
    unit.opener.fetch({row.id for row in rows if row.forgotten_at is None})
    return {row.id: _person(unit, row) for row in rows}


def add_contact(
    unit: Unit, person_id: str, channel: str, address: str, *, at: datetime, in_repaired_device: bool = False
) -> str:
    """Stores one normalised address (e-mail) or number (E.164) of a person; its identifier."""
    new = unit.new_id()
    lookup, lookup_key = unit.opener.marked(channel, normal_form(channel, address))
    unit.connection.execute(
        insert(s.contacts).values(
            shop_id=unit.shop_id,
            id=new,
            person_id=person_id,
            channel=channel,
            address_sealed=unit.seal(person_id, "contacts", new, "address", address),
            lookup=lookup,
            lookup_key=lookup_key,
            in_repaired_device=in_repaired_device,
            created_at=at,
        )
    )
    return new


def contacts_of(unit: Unit, person_id: str) -> tuple[Contact, ...]:
    """The current contacts of a person, oldest first."""
    rows = unit.once(
        ("contacts", person_id),
        lambda: unit.connection.execute(_CONTACTS, given(unit, person_id=person_id)).all(),
    )
    return tuple(_contact(unit, row) for row in rows if row.address_sealed is not None)


def contacts_of_all(unit: Unit, person_ids: Iterable[str]) -> Mapping[str, tuple[Contact, ...]]:
    """person -> their current contacts, the oldest first, for many people in one statement and one look for keys.

    Nobody without any is in it. Raises NotFound for somebody whose key was destroyed a moment ago.
    """
    ids, found = sorted(set(person_ids)), dict[str, tuple[Contact, ...]]()
    unit.opener.fetch(ids)
    rows = unit.connection.execute(CONTACTS_AMONG, {**given(unit), "any_person_id": ids})
    for row in chain.from_iterable(rows.partitions(AT_ONCE)):
        if row[3] is not None:
            one = _contact(unit, row)
            found[one.person_id] = (*found.get(one.person_id, ()), one)
    return found


def _contact(unit: Unit, row: Any) -> Contact:
    """Of a row of `CONTACT_COLUMNS`; by place, since looking each up by its name takes longer."""
    new, person, channel, sealed, in_device, broken_at, broken_why, stopped_at, stopped_how = row
    address = unit.open(person, "contacts", new, "address", sealed)
    return Contact(new, person, channel, address, in_device, broken_at is not None, broken_why, stopped_at, stopped_how)


def get_contact(unit: Unit, contact_id: str) -> Contact | None:
    """One contact, also one that was replaced since; None when there is none or it was erased."""
    t = s.contacts
    query = select(*CONTACT_COLUMNS).where(t.c.shop_id == unit.shop_id, t.c.id == contact_id)
    row = unit.connection.execute(query).first()
    return None if row is None or row.address_sealed is None else _contact(unit, row)


def contact_ids_of(unit: Unit, person_id: str) -> tuple[str, ...]:
    """The identifiers of every contact a person has or had, the newest first; opens no address."""
    t = s.contacts
    query = (
        select(t.c.id).where(t.c.shop_id == unit.shop_id, t.c.person_id == person_id).order_by(t.c.created_at.desc())
    )
    return tuple(unit.connection.execute(query).scalars())


def reach_of(unit: Unit, contact_id: str, *, also_replaced: bool = False) -> Reach | None:
    """One contact as a way to reach its person; None when it was erased, or replaced (unless that is asked for)."""
    t = s.contacts
    row = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.id == contact_id)).first()
    if row is None or row.address_sealed is None or (row.replaced_at is not None and not also_replaced):
        return None
    state = standings(unit, [row.person_id]).get(row.person_id, {})
    return Reach(
        row.id, row.channel, allowed_on(state, row.channel), row.in_repaired_device, row.undeliverable_at is not None,
        row.suppressed_how, objected_on(state, row.channel),
    )  # fmt: skip


def phone_to_call(unit: Unit, person_id: str, *, device_with_us: bool) -> str:
    """A stored number of the person in E.164, unless it sits in a device that is with us, or somebody wrote that it
    reaches them instead; empty for none. A number that takes no texts may still be answered."""
    return number_to_call(contacts_of(unit, person_id), device_with_us=device_with_us)


def number_to_call(contacts: Iterable[Contact], *, device_with_us: bool) -> str:
    """`phone_to_call` for somebody whose contacts were read already."""
    for contact in contacts:
        rings_here = contact.in_repaired_device and device_with_us
        if contact.channel == "sms" and not rings_here and contact.undeliverable_why != WRONG_NUMBER:
            return contact.address
    return ""


def replace_contact(unit: Unit, contact_id: str, *, at: datetime) -> None:
    """Marks a contact as no longer current; it is never used again."""
    _change_contact(unit, contact_id, replaced_at=at)


def mark_undeliverable(unit: Unit, contact_id: str, *, at: datetime, why: str = "refused") -> None:
    """Marks a contact that a channel refused for good, or that turned out to be somebody else's (`why`, a code)."""
    _change_contact(unit, contact_id, undeliverable_at=at, undeliverable_why=why[:40])


def _change_contact(unit: Unit, contact_id: str, **columns: datetime | str | bool) -> None:
    t = s.contacts
    same = (t.c.shop_id == unit.shop_id, t.c.id == contact_id)
    unit.connection.execute(update(t).where(*same).values(**columns))
    people_changed(unit, unit.connection.execute(select(t.c.person_id).where(*same)).scalars())


def find_people(unit: Unit, channel: str, address: str) -> tuple[str, ...]:
    """Identifiers of the people who have or had this address, through the blind index."""
    return tuple(dict.fromkeys(row.person_id for row in _at(unit, _AT, channel, address)))


def current_owners(unit: Unit, channel: str, address: str) -> Mapping[str, str]:
    """person -> contact, of everybody who is reached at this address today, the newest first."""
    return {row.person_id: row.id for row in _at(unit, _REACHED_AT, channel, address)}


def contacts_alike(unit: Unit, contact_id: str) -> tuple[str, ...]:
    """This contact and everybody else's current one with the same address; empty when it was erased."""
    own = get_contact(unit, contact_id)
    return tuple(sorted(row.id for row in _at(unit, _REACHED_AT, own.channel, own.address))) if own else ()


@dataclass(frozen=True, slots=True)
class Broken:
    """What is known of an address that did not work for somebody here: since when, and why (a code)."""

    at: datetime
    why: str


def broken_before(unit: Unit, channel: str, address: str) -> Broken | None:
    """The newest trouble with this address, whoever left it; None for none, or when it was said to work since."""
    rows = _at(unit, _AT, channel, address)
    troubles = [Broken(r.undeliverable_at, r.undeliverable_why) for r in rows if r.undeliverable_at]
    newest = max(troubles, key=lambda one: one.at, default=None)
    if newest and any(r.undeliverable_at is None and r.created_at > newest.at for r in rows):
        return None
    return newest


def _at(unit: Unit, query: Select[Any], channel: str, address: str) -> Sequence[Any]:
    return rows_among(unit, query, "lookup", unit.opener.lookups(channel, normal_form(channel, address)))


def allowed_uses(unit: Unit, person_ids: Iterable[str]) -> Mapping[str, Mapping[str, frozenset[str]]]:
    """person -> channel -> the purposes allowed today: the newest row per channel and purpose counts."""
    states = standings(unit, person_ids)
    return {
        person: {channel: allowed_on(state, channel) for channel, _ in state} for person, state in states.items()
    }  # fmt: skip


def standings(unit: Unit, person_ids: Iterable[str]) -> Mapping[str, Mapping[tuple[str, str], bool]]:
    """person -> (channel, purpose) -> whether it is allowed today, as core/consent derives it from the ledger."""
    said: dict[str, list[tuple[str, str, bool]]] = {}
    for row in unit.connection.execute(_USES, {**given(unit), "any_person_id": list(person_ids)}):
        said.setdefault(row.person_id, []).append((row.channel, row.purpose, row.allowed))
    return {person: standing(rows) for person, rows in said.items()}


def withdrawn_uses(unit: Unit, person_ids: Iterable[str], channel: str) -> Mapping[str, frozenset[str]]:
    """person -> the purposes that were allowed on this channel once and are not any more."""
    rows = unit.connection.execute(_USES, {**given(unit), "any_person_id": list(person_ids)}).all()
    ever = {(row.person_id, row.purpose) for row in rows if row.channel == channel and row.allowed}
    newest = {(row.person_id, row.purpose): row.allowed for row in rows if row.channel == channel}
    out: dict[str, frozenset[str]] = {}
    for person, purpose in sorted(ever):
        if not newest[person, purpose]:
            out[person] = out.get(person, frozenset()) | {purpose}
    return out


def newest_withdrawal(
    unit: Unit, person_ids: Iterable[str], channel: str, *, but_not: Sequence[str]
) -> datetime | None:
    """When one of these people last withdrew something on a channel, in any way (`how`) `but_not` these."""
    t = s.consents
    query = select(func.max(t.c.at)).where(
        t.c.shop_id == unit.shop_id, t.c.person_id.in_(list(person_ids)), t.c.channel == channel,
        t.c.allowed.is_(False), t.c.how.not_in(list(but_not)),
    )  # fmt: skip
    newest: datetime | None = unit.connection.execute(query).scalar_one()
    return newest


def recipients(unit: Unit, person_ids: Iterable[str]) -> tuple[Recipient, ...]:
    """What the planner needs to know about each person; opens no address."""
    ids = list(person_ids)
    if unit.known is not None and all(("recipient", person_id) in unit.known for person_id in ids):
        return tuple(unit.known["recipient", person_id] for person_id in ids)
    return _read_recipients(unit, ids)


def _read_recipients(unit: Unit, ids: list[str]) -> tuple[Recipient, ...]:
    rows = rows_among(unit, _RECIPIENTS, "id", ids)
    return tuple(_recipient(list(own)) for _, own in groupby(rows, key=lambda row: row.id))


def _recipient(rows: list[Any]) -> Recipient:
    """One person of the rows of their contacts and consents: of each purpose the newest consent counts."""
    ways = {row.contact_id: row for row in rows if row.contact_id is not None}
    state = standing((row.contact_id, row.purpose, row.allowed) for row in rows if row.purpose is not None)
    reaches = tuple(
        Reach(
            row.contact_id,
            row.channel,
            frozenset(may_be_asked(allowed_on(state, contact_id), child=row.child)),
            row.in_repaired_device,
            row.undeliverable_at is not None,
            row.suppressed_how,
            objected_on(state, contact_id),
        )
        for contact_id, row in ways.items()
    )
    first = rows[0]
    return Recipient(first.id, first.language, reaches, first.forgotten_at is not None, bool(first.set_aside))


def set_child(unit: Unit, person_id: str, child: bool) -> None:
    """Says whether somebody's contacts are a child's."""
    t = s.people
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == person_id).values(child=child))
    people_changed(unit, [person_id])


def set_name(unit: Unit, person_id: str, name: str) -> None:
    """Puts another name in the place of the one that is kept."""
    t, sealed = s.people, unit.seal(person_id, "people", person_id, "name", name)
    unit.connection.execute(
        update(t).where(t.c.shop_id == unit.shop_id, t.c.id == person_id).values(name_sealed=sealed)
    )
    people_changed(unit, [person_id])


def set_language(unit: Unit, person_id: str, language: str) -> None:
    """Changes the language a person is written in."""
    t = s.people
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == person_id).values(language=language))
    people_changed(unit, [person_id])
