"""What a granted restriction or objection does (GDPR art. 18 and 21), and how a restriction ends.

While data are set aside only what core/notices.WHEN_SET_ASIDE names is sent, and nobody is forgotten
(core/retention.ALWAYS).
"""

from __future__ import annotations

from notify.core.actors import Actor
from notify.core.consent import CONSENT_PURPOSES, INTERESTS, REACH_CHANNELS, allowed_on
from notify.core.errors import Conflict
from notify.core.messages import MessageState
from notify.core.requests import LIFTING, MOST_WORDS
from notify.core.text import clean_block
from notify.flows.context import Context
from notify.flows.held_about import same_person
from notify.flows.reach import write_uses
from notify.flows.record import record
from notify.flows.request_news import add_note, tell
from notify.store import messages, people, requests, visits
from notify.store.database import Unit
from notify.store.requests import Request
from notify.store.stamps import people_changed


def stop_interests(ctx: Context, unit: Unit, actor: Actor, one: Request) -> None:
    """What rests on the shop's interest ends, and so does what is advertising by consent (GDPR art. 21(1) to (3)).

    For their other visits too (`_others`).
    """
    for person_id in (one.person_id, *_others(unit, one.person_id)):
        state = people.standings(unit, [person_id]).get(person_id, {})
        for channel in REACH_CHANNELS:  # also by which they have no contact yet: one that is noted later undoes nothing
            ended = (*INTERESTS, *sorted(allowed_on(state, channel) & set(CONSENT_PURPOSES)))
            write_uses(ctx, unit, actor, person_id, channel, ended, allowed=False, how="objection", evidence=one.id)


def set_aside_others(ctx: Context, unit: Unit, actor: Actor, one: Request) -> None:
    """A granted restriction goes for their other visits too, by a row for each; not where they wish to be forgotten."""
    others = _others(unit, one.person_id)
    known = requests.set_aside_among(unit, others)
    for who, visit_id in visits.newest_visits(unit, others).items():
        if who not in known and not any(other.will_erase for other in requests.requests_of(unit, who)):
            requests.add_request(
                unit, person_id=who, visit_id=visit_id, kind=one.kind, how=one.how, received_at=one.received_at,
                proved_at=one.proved_at, due_on=one.due_on, note="", staff_id=actor.staff_id, ended_at=ctx.clock(),
            )  # fmt: skip
    people_changed(unit, others)


def _others(unit: Unit, person_id: str) -> tuple[str, ...]:
    """Our other rows of somebody: of the same name, and reached at one of their contacts today."""
    contacts = people.contacts_of(unit, person_id)
    return tuple(sorted({same for contact in contacts for same in same_person(unit, person_id, contact.id)}))


def lift(ctx: Context, actor: Actor, request_id: str, *, told: str = "") -> bool:
    """Ends a restriction of which the person was informed before (GDPR art. 18(3)); whether it has ended.

    The first time it only tells them, and once that has left the next time ends it; or at once, when `told` says in
    words how somebody told them. Raises Conflict where nothing is set aside, while the word is on its way, and when
    they have no contact that works.
    """
    actor.need("settle_request")
    words = clean_block(told, field="told", limit=MOST_WORDS)
    with ctx.db.write(actor.shop_id) as unit:
        requests.hold_person(unit, requests.get_request(unit, request_id).person_id)
        one = requests.get_request(unit, request_id)
        if not one.in_force:
            raise Conflict("No data are set aside by this request", "Look at the list of requests.")
        if not words and not _was_told(unit, one):
            _tell_lifting(ctx, unit, actor, one)
            return False
        add_note(unit, one, "told that it ends", words)
        end(ctx, unit, actor, one)
        return True


def end(ctx: Context, unit: Unit, actor: Actor, one: Request) -> None:
    """The same inside the caller's transaction, for their other visits too: they know it, being told or wishing it."""
    whole = (one.person_id, *_others(unit, one.person_id))
    for who in whole:
        requests.lift(unit, who, at=ctx.clock())
    people_changed(unit, whole)
    record(ctx, unit, actor, "lifted", visit_id=one.visit_id, codes={"request": one.id})


def _was_told(unit: Unit, one: Request) -> bool:
    """Whether the word that it ends has left. Raises Conflict while it has not."""
    told = [
        message.state for message in messages.messages_of_visit(unit, one.visit_id)
        if message.refs.get("request") == one.id and message.refs.get("state") == LIFTING
    ]  # fmt: skip
    if MessageState.SENT not in told and MessageState.WAITING in told:
        raise Conflict("The word to them has not left yet", "Wait for it, or say how you told them.", field="told")
    return MessageState.SENT in told


def _tell_lifting(ctx: Context, unit: Unit, actor: Actor, one: Request) -> None:
    if not tell(ctx, unit, actor, "lifting_told", one, state=LIFTING):
        raise Conflict("They have no contact that works", "Tell them yourself, and say how.", field="told")
