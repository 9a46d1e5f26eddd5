"""Listeners: what an event says to a system outside, what that system's answer means, and when it is asked again.

The schedule follows the example of Standard Webhooks 1.0.0 ("Deliverability and reliability"), but never waits longer
than an hour, since a shop's own machine that is back in the morning should not sit in the dark until night. That three
days end it, and that five refusals over an hour pass an event by, is common practice without a source.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from notify.core.cloud_event import write_event
from notify.core.events import Event
from notify.core.retry import Patience, next_try

KIND, PING = "shelfbell.{kind}", "shelfbell.ping"
WAITS = Patience(
    waits=(timedelta(seconds=5), timedelta(seconds=30), timedelta(minutes=5), timedelta(minutes=30)),
    then_every=timedelta(hours=1),
    give_up_after=timedelta(days=3),
)
REFUSED = Patience(waits=(timedelta(minutes=15),), then_every=timedelta(minutes=15), give_up_after=timedelta(days=3))
MOST_REFUSALS = 5
LONGEST_WAIT = timedelta(days=1)  # however long a listener asks us to wait
OLD_KEY_LIVES = timedelta(days=7)  # so long a changed key signs beside the new one


class Heard(StrEnum):
    """What became of one call."""

    TAKEN = "taken"
    LATER = "later"  # nobody answered, or something is wrong over there: the line is held
    REFUSED = "refused"  # it understood and does not want this one
    GONE = "gone"  # it wants nothing more, ever


@dataclass(frozen=True, slots=True)
class Next:
    """What follows a call that was not taken: asked again at `at`, passed by, or the listener `paused`."""

    at: datetime | None = None
    passed_by: bool = False
    paused: bool = False


def meaning(status: int) -> Heard:
    """What a status says (Standard Webhooks 1.0.0, "Delivery success and failure"); 0 is no answer at all.

    A redirect is not followed: the address has to be corrected, and until then nothing is lost.
    """
    if 200 <= status < 300:
        return Heard.TAKEN
    if status == 410:
        return Heard.GONE
    return Heard.REFUSED if 400 <= status < 500 and status not in (408, 425, 429) else Heard.LATER


def follows(
    heard: Heard, attempt: int, *, since: datetime, now: datetime, jitter: float, asked: datetime | None = None
) -> Next:  # fmt: skip
    """What follows the `attempt`-th try in a row that came to the same; the trouble began at `since`.

    `asked` is when the listener itself wants to be asked again (RFC 9110 10.2.3); it only ever lengthens a wait.
    """
    if heard is Heard.GONE:
        return Next(paused=True)
    if heard is Heard.REFUSED and attempt >= MOST_REFUSALS:
        return Next(passed_by=True)
    patience = REFUSED if heard is Heard.REFUSED else WAITS
    at = next_try(attempt, first_at=since, now=now, jitter=jitter, patience=patience)
    if at is None:
        return Next(paused=True)
    return Next(max(at, min(asked or at, now + LONGEST_WAIT)))


def body_of(event: Event, *, shop_id: str, number: str) -> bytes:
    """The octets that tell a listener of an event: the same ones whenever it is told.

    Identifiers, codes and the claim number; no name, no address, no text about a person or a device, and not who of the
    staff it was. Where a device came to stands in `to` of an event that moved it.
    """
    data = {"event": event.kind, "visit": event.visit_id, "by": event.actor_kind, "codes": dict(event.codes)}
    data |= {"ticket": event.ticket_id} if event.ticket_id else {}
    return write_event(
        event_id=event.id, source=f"/shops/{shop_id}", kind=KIND.format(kind=event.kind), subject=number,
        time=event.at, data=data,
    )  # fmt: skip


def ping_of(ping_id: str, *, shop_id: str, at: datetime) -> bytes:
    """The octets of a try, about no event."""
    return write_event(event_id=ping_id, source=f"/shops/{shop_id}", kind=PING, subject="", time=at, data={})
