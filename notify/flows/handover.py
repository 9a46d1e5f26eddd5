"""Give devices back against a claim secret, a pass, or by a staff check; take a handover back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from notify.core import tickets as rules
from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.core.late_entry import need_after, need_past
from notify.core.refusals import asks_for_check, wrong_secrets
from notify.core.text import clean_block
from notify.core.tickets import Phase
from notify.flows import passes as flow_passes
from notify.flows.check_in import token_hash
from notify.flows.context import Context
from notify.flows.desk_secret import Right, right_secret
from notify.flows.holds import Hold, hold_on, lift_within
from notify.flows.moves import take_step
from notify.flows.record import record
from notify.flows.stand_again import stand_after_handover
from notify.flows.view_lines import left_to_pay
from notify.store import bookings, events, notes, passes, tickets, visits
from notify.store.database import Unit
from notify.store.passes import Pass
from notify.store.tickets import Job, Ticket

SHORTEST_CHECK = 5  # characters: "ID ok" says how; "ok" does not
LONGEST_WAIT = timedelta(hours=1)  # a desk left open over lunch tells nothing about how long a handover takes


@dataclass(frozen=True, slots=True)
class HandedBack:
    """What was given back: the tickets, and the event of the whole handover. `how` is a code of that event."""

    visit_id: str
    ticket_ids: tuple[str, ...]
    event_id: str
    how: str


@dataclass(frozen=True, slots=True)
class Shown:
    """What somebody showed: the scanned claim secret or the code of a pass, or how staff made sure in words.

    `by_code`: the claim secret was just issued anew against a code to the stored contact.
    """

    token: str = ""
    pass_code: str = ""
    checked: str = ""
    by_code: bool = False


def find_claim(ctx: Context, actor: Actor, token: str) -> Ticket:
    """The ticket whose claim secret was scanned; raises NotFound for an unknown or replaced one."""
    actor.need("hand_back")
    with ctx.db.read(actor.shop_id) as unit:
        return tickets.find_by_token_hash(unit, token_hash(token))


def hand_back(
    ctx: Context, actor: Actor, *, ticket_ids: Sequence[str], token: str = "", pass_code: str = "", checked: str = "",
    by_code: bool = False, collector: str = "", paid_now: bool = False, since: datetime | None = None,
    at: datetime | None = None,
) -> HandedBack:  # fmt: skip
    """Gives devices of one visit back and tells it once.

    `token` is the scanned claim secret of one of the visit's tickets, `pass_code` the code of a pass; without one,
    `checked` says in words how staff made sure who it is (the claim number alone is not enough). After a fresh change
    of contact or three wrong secrets the words are asked for beside a right secret too. `collector` is the person who
    took them when not the bringer. `paid_now` notes that what was left was paid. `since` is when the desk was opened.
    `at` is when it happened, for a handover done on paper: then `checked` always says who made sure, and how.
    Raises desk_secret.WrongSecret (written down), NotAllowed, Conflict (not on the shelf) or NotFound; then nothing is
    given back.
    """
    actor.need("hand_back")
    shown = Shown(token, pass_code, clean_block(checked, field="checked", limit=500), by_code)
    if not ticket_ids:
        raise Invalid("No device was named", "Choose at least one device.", field="ticket")
    with ctx.db.write(actor.shop_id) as unit:
        chosen = [tickets.get_job(unit, i) for i in dict.fromkeys(ticket_ids)]
        return _Handover(ctx, unit, actor, chosen, shown, at=at).carry_out(collector, paid_now=paid_now, since=since)


class _Handover:
    """One handover within its transaction."""

    def __init__(
        self, ctx: Context, unit: Unit, actor: Actor, chosen: Sequence[Job], shown: Shown, *, at: datetime | None
    ) -> None:
        self.ctx, self.unit, self.actor, self.chosen, self.shown = ctx, unit, actor, chosen, shown
        self.visit_id = _one_visit(chosen)
        self.now = ctx.clock() if at is None else need_past(at, now=ctx.clock(), field="at")
        self.on_paper = at is not None

    def carry_out(self, collector: str, *, paid_now: bool, since: datetime | None) -> HandedBack:
        right = self._authority()
        hold = self._hold()
        self._check_words(hold)
        used = right.used or self._pass_of(collector)
        taker = used.person_id if used else self._collector(collector)
        for ticket in self.chosen:
            self._give(ticket, right.how, paid_now=paid_now)
        if used:
            flow_passes.use_within(self.ctx, self.unit, self.actor, used)
        codes: dict[str, str | int] = {"how": right.how, "tickets": ",".join(t.id for t in self.chosen)}
        codes |= {"pass": used.id} if used else {}
        codes |= {"collector": taker} if taker else {}
        codes |= {"checked": 1} if self.shown.checked else {}
        codes |= {"hold": 1} if hold else {}
        codes |= {"paper": 1} if self.on_paper else {}
        codes |= _seconds(since, self.now)
        if hold:
            lift_within(self.ctx, self.unit, self.actor, self.visit_id)
        event = self._record("handover_done", codes)
        self._note(event)
        self._close_booking()
        if not tickets.is_device_with_us(self.unit, self.visit_id):
            flow_passes.end_all_within(self.ctx, self.unit, self.actor, self.visit_id)
        return HandedBack(self.visit_id, tuple(t.id for t in self.chosen), event, right.how)

    def _authority(self) -> Right:
        shown = self.shown
        if shown.token or shown.pass_code:
            right = right_secret(
                self.ctx, self.unit, self.actor, self.visit_id, token=shown.token, pass_code=shown.pass_code
            )
            return Right("contact_code") if shown.by_code and not right.used else right
        if len(shown.checked) < SHORTEST_CHECK:
            raise NotAllowed(
                "A claim number alone does not release a device",
                "Scan the claim ticket, or write down how you made sure who this is.",
                field="checked",
            )
        return Right("staff_check")

    def _hold(self) -> Hold | None:
        return hold_on(self.unit, self.visit_id, self.now, self.ctx.shop(self.unit).hold_hours)

    def _check_words(self, hold: Hold | None) -> None:
        """Beside a right secret, words are asked for when something about the visit is not as it should be."""
        if len(self.shown.checked) >= SHORTEST_CHECK:
            return
        if self.on_paper:
            advice = "Copy from the paper who gave it back and what they looked at."
            raise NotAllowed("A handover on paper needs to say who made sure, and how", advice, field="checked")
        advice = "Look at something with their name on it, and write down what you saw."
        if hold:
            raise NotAllowed("The address or number of this customer was changed a short time ago", advice,
                             field="checked")  # fmt: skip
        if asks_for_check(wrong_secrets(events.story_of(self.unit, visit_id=self.visit_id), self.now)):
            raise NotAllowed("Wrong codes were shown for this visit within a day", advice, field="checked")

    def _collector(self, person_id: str) -> str:
        """Empty for the bringer; raises Invalid for somebody whom nobody named."""
        roles = visits.visit_people(self.unit, self.visit_id)
        if not person_id or person_id in roles.get("bringer", ()):
            return ""
        if person_id not in roles.get("collector", ()):
            raise Invalid("Nobody named this person as a collector", "Choose one from the list.", field="collector")
        return person_id

    def _pass_of(self, person_id: str) -> Pass | None:
        """The open pass of somebody whom staff know to be its holder: it counts once, however they were known."""
        live = (one for one in passes.passes_of(self.unit, self.visit_id) if flow_passes.is_open(one, self.now))
        return next((one for one in live if one.person_id == person_id), None) if person_id else None

    def _give(self, ticket: Job, how: str, *, paid_now: bool) -> None:
        _check_on_shelf(ticket)
        if self.on_paper:
            story = events.story_of(self.unit, visit_id=self.visit_id, ticket_id=ticket.id)
            need_after(self.now, story, ticket.id, field="at")
        step = rules.find_move(ticket.phase, Phase.HANDED_BACK)
        after = take_step(self.ctx, self.unit, self.actor, ticket, step, codes={"how": how}, at=self.now).ticket
        if paid_now and left_to_pay(ticket):
            tickets.change_ticket(self.unit, after, paid=True)
            self._record("money_recorded", {"paid": 1}, ticket_id=ticket.id)

    def _record(self, kind: str, codes: dict[str, str | int], *, ticket_id: str = "") -> str:
        event = record(self.ctx, self.unit, self.actor, kind, visit_id=self.visit_id, ticket_id=ticket_id, codes=codes,
                       at=self.now)  # fmt: skip
        return event.id

    def _note(self, event_id: str) -> None:
        """How staff made sure, in their words; who took the devices stands in the event, by reference only."""
        first = self.chosen[0]
        if self.shown.checked:
            notes.add_note(self.unit, ticket_id=first.id, person_id=first.person_id, text=self.shown.checked,
                           at=self.now, staff_id=self.actor.id, event_id=event_id)  # fmt: skip

    def _close_booking(self) -> None:
        booking = bookings.live_booking(self.unit, self.visit_id)
        if booking is None and self.on_paper:  # the clock saw nobody come, since they came on paper
            booking = bookings.missed_on(self.unit, self.visit_id, self.now)
        phases = tickets.phases_of_visit(self.unit, self.visit_id).values()
        if booking is not None and Phase.ON_SHELF not in phases:
            bookings.close_booking(self.unit, booking, "kept", at=self.now)


def _one_visit(chosen: Sequence[Job]) -> str:
    visits_of = {ticket.visit_id for ticket in chosen}
    if len(visits_of) != 1:
        raise Invalid("These devices belong to different visits", "Hand them back one visit at a time.", field="ticket")
    return visits_of.pop()


def _seconds(since: datetime | None, now: datetime) -> dict[str, str | int]:
    """How long the handover took; nothing when that is not known, or the clock was set back."""
    if since is None or since > now:
        return {}
    return {"seconds": int(min(now - since, LONGEST_WAIT).total_seconds())}


def _check_on_shelf(ticket: Job) -> None:
    if ticket.phase is not Phase.ON_SHELF:
        number = show_number(ticket.number)
        if ticket.phase is Phase.HANDED_BACK:
            raise Conflict(f"{number} was handed back already", "Look at the ticket: it says when, and by whom.")
        raise Conflict(f"{number} is not on the shelf", "Finish the repair or put it on the shelf first.")


def undo_handover(ctx: Context, actor: Actor, ticket_id: str, *, reason: str) -> Job:
    """Takes one device back onto the shelf; `reason` is a code of UNDO_HANDOVER_REASONS. An event of its own.

    A pass that was used stays used: it counted once. A pickup that the handover ended early stands again if there is
    still room; otherwise the customer is told that it does not, since their calendar still has it.
    """
    actor.need("undo_handover")
    with ctx.db.write(actor.shop_id) as unit:
        ticket = tickets.get_job(unit, ticket_id)
        step = rules.find_move(ticket.phase, Phase.ON_SHELF)
        if step.event != "handover_undone":
            raise NotAllowed("This device was not handed back", "There is no handover to take back.")
        rules.check_reason(step, reason)
        after = take_step(ctx, unit, actor, ticket, step, reason=reason).ticket
        stand_after_handover(ctx, unit, actor, ticket.visit_id)
        return after
