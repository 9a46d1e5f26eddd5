"""The booked pickup as a calendar file, for whoever has no e-mail or another calendar."""

from __future__ import annotations

from notify.core.errors import NotFound
from notify.flows.claim_shown import Speech
from notify.flows.claims import Forgotten, open_claim
from notify.flows.context import Context
from notify.render.calendar_file import Entry, entry_bytes
from notify.render.dates import say_day, say_time
from notify.store import bookings, people, tickets


class NothingBooked(NotFound):
    """There is no pickup that could go into a calendar. `language` is the one the customer reads."""

    def __init__(self, language: str) -> None:
        super().__init__("No pickup time is booked", "Choose one on the claim page.")
        self.language = language


def view_entry(ctx: Context, token: str, speech: Speech) -> bytes:
    """The file, in the customer's language; no claim secret, number, name or device stands in it. Changes nothing.

    Its uid and sequence are those of the invite, so that a calendar which has both shows one pickup. Raises NotFound,
    Forgotten for a link that is over, and NothingBooked.
    """
    claim = open_claim(ctx, token)
    with ctx.db.read(claim.shop_id) as unit:
        booking, shop = bookings.live_booking(unit, claim.visit_id), ctx.shop(unit)
        try:
            language = people.get_person(unit, tickets.get_ticket(unit, claim.ticket_id).person_id).language
        except NotFound as gone:  # the keys are destroyed before the rows are emptied
            raise Forgotten(claim.language) from gone
        if booking is None or booking.end_at <= ctx.clock():
            raise NothingBooked(language)
        words = speech.messages(language)
        day = say_day(booking.start_at, zone=shop.zone, language=language)
        time = say_time(booking.start_at, zone=shop.zone, language=language)
        return entry_bytes(Entry(
            booking.uid, booking.revision, booking.changed_at, booking.start_at, booking.end_at,
            summary=words("invite.summary", shop=shop.name),
            description=words("invite.description", day=day, time=time),
            location=", ".join(part for part in (shop.name, shop.address) if part),
        ))  # fmt: skip
