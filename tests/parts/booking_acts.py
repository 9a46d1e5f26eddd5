"""Everything that can happen to places in slots, as acts that a schedule names: each is one whole flow."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from typing import Any

from sqlalchemy import text

from notify.core.calendar_choices import Choice
from notify.core.errors import NotifyError
from notify.core.itip import Answer, Partstat
from notify.flows import handover, hear_reply, moves, pickup, reminders, set_up, view_calendar
from notify.flows.hear_reply import Heard
from notify.flows.settle_answer import settle
from notify.store import bookings, shops
from tests.parts.house import House
from tests.parts.shelved import shelve, token_of

DAYS = (date(2026, 11, 26), date(2026, 11, 27))
SLOTS = tuple(datetime.combine(day, time(10, 15 * n)) for day in DAYS for n in range(2))
_BEGIN = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
_BACK = (
    "delete from calendar_answers", "delete from bookings", "delete from receipts", "delete from messages",
    "delete from idempotency", "delete from special_days",
    "update tickets set phase = 'on_shelf', outcome = 'repaired'",
    "delete from events where kind not in ('checked_in', 'shelved')",
)  # fmt: skip


@dataclass
class Town:
    """A house with visits that have one device each on the shelf, and what is done with their pickups.

    `done` and `refused` count acts by name: a refusal is the product's own error and a legal end of an act.
    """

    house: House
    visits: list[tuple[str, str]] = field(default_factory=list)  # visit, ticket
    done: dict[str, int] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)
    seen: dict[int, str] = field(default_factory=dict)  # a place as somebody saw it a while ago
    called: int = 0  # the visit whose device was called back last
    collected: int = 0  # and handed back
    keys: Any = field(default_factory=lambda: count(1))

    def open(self, visits: int) -> Town:
        """Takes their devices in and puts them on the shelf."""
        for number in range(visits):
            checked = self.house.check_in(name=f"Ines Farrow {number}", phone="", email=f"ines{number}@example.org")
            shelve(self.house, checked.ticket_ids[0])
            self.visits.append((checked.visit_id, checked.ticket_ids[0]))
        self.start_over()
        return self

    def start_over(self) -> None:
        """As if nobody had booked yet; tables are emptied by hand, so that a story costs no new house."""
        with self.house.ctx.db.write(self.house.shop_id) as unit:
            for sentence in _BACK:
                unit.connection.execute(text(sentence))
            shops.put_settings(unit, {"slot_minutes": 15}, valid_from=_BEGIN.date())
        self.house.clock.set(_BEGIN)
        for channel in self.house.channels.values():
            channel.sent.clear()
        self.seen.clear()

    def act(self, name: str, visit: int, slot: int) -> None:
        """One act of one visit about one slot; what the product refuses in words is fine, any other error is not."""
        try:
            ACTS[name](self, visit % len(self.visits), slot % len(SLOTS))
        except NotifyError as error:
            kind = f"{name}:{type(error).__name__}"
            self.refused[kind] = self.refused.get(kind, 0) + 1
        else:
            self.done[name] = self.done.get(name, 0) + 1

    def live(self, visit: int) -> Any:
        with self.house.read() as unit:
            return bookings.live_booking(unit, self.visits[visit][0])


Act = Callable[[Town, int, int], Any]


def _book(town: Town, visit: int, slot: int) -> None:
    pickup.book(town.house.ctx, town.house.customer(), town.visits[visit][0], SLOTS[slot], once=f"k{next(town.keys)}")


def _look(town: Town, visit: int, slot: int) -> None:
    booking = town.live(visit)
    town.seen[visit] = pickup.mark_of(booking) if booking else ""


def _move(town: Town, visit: int, slot: int) -> None:
    pickup.move(town.house.ctx, town.house.customer(), town.visits[visit][0], SLOTS[slot],
                seen=town.seen.get(visit, ""))  # fmt: skip


def _cancel(town: Town, visit: int, slot: int) -> None:
    pickup.cancel(town.house.ctx, town.house.customer(), town.visits[visit][0], seen=town.seen.get(visit, ""))


def _close(town: Town, visit: int, slot: int) -> None:
    set_up.add_special_day(town.house.ctx, town.house.actor(), SLOTS[slot].date(), reason="stocktaking",
                           unless_hit=visit % 2 == 0)  # fmt: skip


def _room(town: Town, visit: int, slot: int) -> None:
    set_up.add_special_day(town.house.ctx, town.house.actor(), SLOTS[slot].date(), opens=time(9), closes=time(12),
                           capacity=1 + visit % 3, unless_hit=slot % 2 == 0)  # fmt: skip


def _usual(town: Town, visit: int, slot: int) -> None:
    with town.house.read() as unit:
        listed = [one for one, day, _ in shops.special_days(unit) if day.day == SLOTS[slot].date()]
    for one in listed:
        set_up.drop_special_day(town.house.ctx, town.house.actor(), one)


def _cut(town: Town, visit: int, slot: int) -> None:
    set_up.change_settings(town.house.ctx, town.house.actor(), {"slot_minutes": (15, 30, 10)[visit % 3]})


def _hear(town: Town, visit: int, method: str, partstat: Partstat, start: datetime | None) -> None:
    booking = town.live(visit)
    if booking is None:
        return
    number, address = next(town.keys), f"ines{visit}@example.org"
    said = Answer(method, booking.uid, address, partstat, sequence=booking.revision, stamp=town.house.clock(),
                  start=start, end=start + timedelta(minutes=15) if start else None,
                  organizer=town.house.ctx.organizer_address(booking.organizer_token))  # fmt: skip
    heard = Heard("email", address, "", town.house.clock(), f"letter-{number}", "mail", calendar_answers=(said,),
                  organizer_tokens=(booking.organizer_token,), proved=True)  # fmt: skip
    hear_reply.hear(town.house.ctx, town.house.shop_id, heard)


def _decline(town: Town, visit: int, slot: int) -> None:
    _hear(town, visit, "REPLY", Partstat.DECLINED, None)


def _propose(town: Town, visit: int, slot: int) -> None:
    _hear(town, visit, "COUNTER", Partstat.TENTATIVE, SLOTS[slot].replace(tzinfo=UTC))  # London in winter


def _settle(town: Town, choice: Choice) -> None:
    for question in view_calendar.view(town.house.ctx, town.house.actor())[:1]:
        settle(town.house.ctx, town.house.actor(), question.id, choice)


def _collect(town: Town, visit: int, slot: int) -> None:
    town.collected, ticket = visit, town.visits[visit][1]
    handover.hand_back(town.house.ctx, town.house.actor(), ticket_ids=[ticket], token=token_of(town.house, ticket))


def _uncollect(town: Town, visit: int, slot: int) -> None:
    handover.undo_handover(town.house.ctx, town.house.actor(), town.visits[town.collected][1], reason="wrong_device")


def _call_back(town: Town, visit: int, slot: int) -> None:
    town.called = visit
    moves.move(town.house.ctx, town.house.actor(), town.visits[visit][1], "in_line", reason="fault_seen_again")


def _undo(town: Town, visit: int, slot: int) -> None:
    moves.undo(town.house.ctx, town.house.actor(), town.visits[town.called][1])


def _miss(town: Town, visit: int, slot: int) -> None:
    """Thursday is over, and what was to leave before has left; only forwards."""
    for _ in range(2):
        town.house.deliver(after=95)
    if town.house.clock() < datetime(2026, 11, 26, 13, tzinfo=UTC):
        town.house.clock.set(datetime(2026, 11, 26, 13, tzinfo=UTC))
    reminders.note_missed(town.house.ctx, town.house.system())


def _deliver(town: Town, visit: int, slot: int) -> None:
    town.house.clock.advance(1)
    town.house.services.dispatcher.run_once(town.house.shop_id)


ACTS: dict[str, Act] = {
    "book": _book, "book again": _book, "look": _look, "move": _move, "cancel": _cancel, "close the day": _close,
    "other room": _room, "usual hours": _usual, "cut anew": _cut, "decline": _decline, "propose": _propose,
    "take": lambda town, *_: _settle(town, Choice.TAKE), "say no": lambda town, *_: _settle(town, Choice.NO),
    "collect": _collect, "uncollect": _uncollect, "call back": _call_back, "undo": _undo, "miss": _miss,
    "deliver": _deliver,
}  # fmt: skip


def all_leave(town: Town) -> None:
    """Every message about a pickup that may leave has left."""
    for seconds in (95, 95, 95, 600):
        town.house.deliver(after=seconds)
