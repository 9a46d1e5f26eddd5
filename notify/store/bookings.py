"""Bookings of pickup slots: a place per customer, guarded by a unique index. Long: every statement about them."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from operator import attrgetter
from typing import Any

from sqlalchemy import bindparam, func, insert, select, update

from notify.core.calendar_choices import MOVED_ON
from notify.core.slots import Slot, Taken
from notify.store import schema as s
from notify.store.database import Unit
from notify.store.restoring import restored_at
from notify.store.stamps import places_changed
from notify.store.statements import among, given, is_in, rows_among, where

_BOOKING = select(s.bookings).where(*where(s.bookings, "id"))
_BOOKED = is_in(s.bookings.c.state, "booked")
_ADD = insert(s.bookings)
_NUMBERED_SINCE = datetime(2020, 1, 1, tzinfo=UTC)
LONGEST_NAME = 64  # characters of a UID or token of ours: what is longer is none
LIVE = select(s.bookings).where(*where(s.bookings), among(s.bookings, "visit_id"), _BOOKED)
_OCCUPIED = select(s.bookings.c.start_at, s.bookings.c.end_at, s.bookings.c.seat).where(
    *where(s.bookings), _BOOKED, s.bookings.c.start_at < bindparam("last"), s.bookings.c.end_at > bindparam("first"),
    s.bookings.c.visit_id != bindparam("but_for"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Booking:
    """One customer's place in a slot. `revision` rises with every change and is the invite's SEQUENCE.

    `stays` is the code of core/hits in spite of which staff let it stand. `changes` counts every change and never
    falls, not even when one is taken back. `invite_stamp` is the DTSTAMP of the newest calendar object whose bytes were
    kept, `invite_contact_id` who got the newest that left; `partstat`, `reply_sequence` and `reply_stamp` are of the
    newest answer to it (core/itip).
    """

    id: str
    visit_id: str
    person_id: str
    local_start: str
    zone: str
    fold: int
    start_at: datetime
    end_at: datetime
    seat: int
    state: str
    revision: int
    uid: str
    organizer_token: str
    made_at: datetime
    changed_at: datetime
    invited: bool
    reminded: bool
    invite_stamp: datetime | None = None
    invite_contact_id: str | None = None
    reply_sequence: int | None = None
    reply_stamp: datetime | None = None
    partstat: str = ""
    stays: str = ""
    changes: int = 0


class Occupied:
    """The places taken in a stretch of time, counted for any slot in it.

    A booking counts for every slot it overlaps, since hours and the length of slots may have changed since.
    """

    def __init__(self, spans: Iterable[tuple[datetime, datetime]]) -> None:
        self._spans = sorted(spans)
        self._starts = [start for start, _ in self._spans]
        self._longest = max((end - start for start, end in self._spans), default=timedelta(0))

    def during(self, slot: Slot) -> int:
        """How many bookings overlap this slot."""
        first = bisect_right(self._starts, slot.start - self._longest)
        last = bisect_left(self._starts, slot.end)
        return sum(1 for _, end in self._spans[first:last] if end > slot.start)


def occupied(unit: Unit, first: datetime, last: datetime, *, but_for: str = "") -> Occupied:
    """What is booked between two instants; `but_for` leaves out the booking of one visit, which would move."""
    rows = unit.connection.execute(_OCCUPIED, {**given(unit), "first": first, "last": last, "but_for": but_for})
    return Occupied((row.start_at, row.end_at) for row in rows)


def free_seat(unit: Unit, slot: Slot, *, but_for: str = "") -> int:
    """A free place of a slot; raises Taken when it is full."""
    during = {**given(unit), "first": slot.start, "last": slot.end, "but_for": but_for}
    rows = unit.connection.execute(_OCCUPIED, during).all()
    if len(rows) >= slot.capacity:
        raise Taken("This time has just been taken", "Choose another one.", field="slot")
    used = {row.seat for row in rows if row.start_at == slot.start}
    return next(seat for seat in count() if seat not in used)


def add_booking(
    unit: Unit, *, visit_id: str, person_id: str, slot: Slot, seat: int, uid: str, organizer_token: str, at: datetime
) -> str:
    """Takes the place that free_seat found; its identifier."""
    new = unit.new_id()
    places_changed(unit)
    made = {
        "shop_id": unit.shop_id, "id": new, "visit_id": visit_id, "person_id": person_id, "state": "booked",
        "revision": 0, "changes": 0, "uid": uid, "organizer_token": organizer_token, "made_at": at, "changed_at": at,
        **_place(slot, seat),
    }  # fmt: skip
    unit.connection.execute(_ADD, made)
    return new


def move_booking(unit: Unit, booking: Booking, slot: Slot, *, at: datetime) -> None:
    """Takes a place in another slot and gives the old one up; raises Taken when the new one is full."""
    _change(
        unit,
        booking,
        revision=_next_revision(unit, booking),
        changed_at=at,
        reminded=False,
        stays="",
        partstat="",  # what was said was said about another time; its place in the order of answers stays known
        **_place(slot, free_seat(unit, slot, but_for=booking.visit_id)),
    )


def close_booking(unit: Unit, booking: Booking, state: str, *, at: datetime) -> int:
    """Ends a booking as cancelled, missed or kept; its revision from now on."""
    revision = _next_revision(unit, booking)
    _change(unit, booking, state=state, revision=revision, changed_at=at)
    return revision


def stand_again(unit: Unit, booking_id: str, *, at: datetime) -> bool:
    """Takes a closed booking up again in its own place; False when the place, or the visit's one booking, is taken."""
    booking = get_booking(unit, booking_id)
    if booking is None or booking.state == "booked" or live_booking(unit, booking.visit_id) is not None:
        return False
    t = s.bookings
    same = (t.c.shop_id == unit.shop_id, t.c.state == "booked", t.c.start_at == booking.start_at)
    if unit.connection.execute(select(t.c.id).where(*same, t.c.seat == booking.seat)).first() is not None:
        return False
    _change(unit, booking, state="booked", revision=booking.revision - 1, changed_at=at)
    return True


def missed_times(unit: Unit, visits: Iterable[str]) -> dict[str, datetime]:
    """Visit -> the start of the last pickup to which nobody came."""
    t = s.bookings
    these = (t.c.shop_id == unit.shop_id, t.c.state == "missed", t.c.visit_id.in_(list(visits)))
    rows = unit.connection.execute(select(t.c.visit_id, t.c.start_at).where(*these).order_by(t.c.start_at))
    return {row.visit_id: row.start_at for row in rows}


def missed_counts(unit: Unit, visits: Iterable[str]) -> dict[str, int]:
    """Visit -> how many pickups nobody came to; a visit without any is left out."""
    t = s.bookings
    these = (t.c.shop_id == unit.shop_id, t.c.state == "missed", t.c.visit_id.in_(list(visits)))
    rows = unit.connection.execute(select(t.c.visit_id, func.count()).where(*these).group_by(t.c.visit_id))
    return {visit_id: int(number) for visit_id, number in rows}


def mark(unit: Unit, booking: Booking, **flags: Any) -> None:
    """Sets `invited` with `invite_contact_id`, or `reminded`."""
    _write(unit, booking, **flags)


def keep_stamps(unit: Unit, stamps: Mapping[str, datetime]) -> None:
    """Booking -> the DTSTAMP of a calendar object just kept; every later one gets a later stamp (RFC 5546 2.1.5)."""
    t = s.bookings
    for booking_id, stamp in stamps.items():
        older = t.c.invite_stamp.is_(None) | (t.c.invite_stamp < stamp)
        unit.connection.execute(
            update(t).where(t.c.shop_id == unit.shop_id, t.c.id == booking_id, older).values(invite_stamp=stamp)
        )


def note_stays(unit: Unit, booking: Booking, why: str) -> None:
    """Notes that staff let it stand although it is hit: `why` is the code of core/hits."""
    _write(unit, booking, stays=why)


def live_booking(unit: Unit, visit_id: str) -> Booking | None:
    """The visit's booking that stands, or None."""
    rows = unit.once(
        ("live_booking", visit_id),
        lambda: list(rows_among(unit, LIVE, "visit_id", [visit_id])),
    )
    return _booking(rows[0]) if rows else None


def missed_on(unit: Unit, visit_id: str, at: datetime) -> Booking | None:
    """The visit's pickup that nobody seemed to come to, if it was within a day before or after `at`; or None."""
    t, day = s.bookings, timedelta(days=1)
    these = (t.c.shop_id == unit.shop_id, t.c.visit_id == visit_id, t.c.state == "missed")
    near = (t.c.start_at > at - day, t.c.start_at < at + day)
    row = unit.connection.execute(select(t).where(*these, *near).order_by(t.c.start_at.desc())).first()
    return _booking(row) if row else None


def kept_booking(unit: Unit, visit_id: str, *, now: datetime) -> Booking | None:
    """The visit's newest pickup that was kept although its time is not over yet, or None."""
    t = s.bookings
    these = (t.c.shop_id == unit.shop_id, t.c.visit_id == visit_id, t.c.state == "kept", t.c.end_at > now)
    row = unit.connection.execute(select(t).where(*these).order_by(t.c.changed_at.desc())).first()
    return _booking(row) if row else None


def live_bookings(unit: Unit) -> Mapping[str, Booking]:
    """visit -> its booking, for every booking that stands."""
    t = s.bookings
    rows = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.state == "booked"))
    return {row.visit_id: _booking(row) for row in rows}


def get_booking(unit: Unit, booking_id: str) -> Booking | None:
    """One booking, or None; an empty identifier is none."""
    if not booking_id:
        return None
    row = unit.connection.execute(_BOOKING, given(unit, id=booking_id)).first()
    return _booking(row) if row else None


def bookings_by_id(unit: Unit, ids: Iterable[str]) -> Mapping[str, Booking]:
    """identifier -> booking."""
    t = s.bookings
    rows = unit.connection.execute(select(t).where(t.c.shop_id == unit.shop_id, t.c.id.in_(list(ids))))
    return {row.id: _booking(row) for row in rows}


def find_spoken(unit: Unit, *, tokens: Sequence[str] = (), uids: Sequence[str] = ()) -> Booking | None:
    """The booking that an answer speaks of: by the organizer token it came to, else by its UID; None for neither."""
    for name, values in (("organizer_token", tokens), ("uid", uids)):
        t = s.bookings
        wanted = [one for one in values if 0 < len(one) <= LONGEST_NAME]
        same = (t.c.shop_id == unit.shop_id, t.c[name].in_(wanted))
        row = unit.connection.execute(select(t).where(*same).order_by(t.c.made_at.desc())).first() if wanted else None
        if row is not None:
            return _booking(row)
    return None


def note_answer(unit: Unit, booking: Booking, *, partstat: str, sequence: int, stamp: datetime | None) -> None:
    """What the newest answer said (core/itip.Partstat), to which SEQUENCE, and when it was made."""
    _write(unit, booking, partstat=partstat, reply_sequence=sequence, reply_stamp=stamp)


def bookings_between(unit: Unit, first: datetime, last: datetime, *, state: str = "booked") -> tuple[Booking, ...]:
    """Bookings in `state` that start within [first, last), in order of time."""
    t = s.bookings
    rows = unit.connection.execute(
        select(t)
        .where(t.c.shop_id == unit.shop_id, t.c.state == state, t.c.start_at >= first, t.c.start_at < last)
        .order_by(t.c.start_at, t.c.seat)
    )
    return tuple(_booking(row) for row in rows)


def bookings_since(unit: Unit, first: datetime) -> tuple[Booking, ...]:
    """Every booking that starts at `first` or later, whatever became of it, in order of time."""
    t = s.bookings
    query = select(t).where(t.c.shop_id == unit.shop_id, t.c.start_at >= first).order_by(t.c.start_at, t.c.id)
    return tuple(_booking(row) for row in unit.connection.execute(query))


def _change(unit: Unit, booking: Booking, **columns: Any) -> None:
    places_changed(unit)
    _write(unit, booking, changes=s.bookings.c.changes + 1, **columns)
    _end_questions(unit, booking.id, at=columns["changed_at"])


def _next_revision(unit: Unit, booking: Booking) -> int:
    """One more; the first change after a restore is numbered by the time of that restore.

    The lost database may have sent revisions that nobody here knows of, and a calendar ignores what is numbered below
    what it has (RFC 5545 3.8.7.4, RFC 5546 2.1.5). Minutes: nobody changes a pickup so often, and 32 bits hold them.
    """
    restored = restored_at(unit)
    if restored is None or booking.made_at >= restored:
        return booking.revision + 1
    return max(booking.revision + 1, (restored - _NUMBERED_SINCE) // timedelta(minutes=1))


def _end_questions(unit: Unit, booking_id: str, *, at: datetime) -> None:
    """What a calendar asked about a pickup is beside the point once the pickup is another one, or over."""
    t = s.calendar_answers
    these = (t.c.shop_id == unit.shop_id, t.c.booking_id == booking_id, is_in(t.c.state, "open"))
    ended = {"state": "settled", "settled_at": at, "settled_how": MOVED_ON}
    unit.connection.execute(update(t).where(*these).values(**ended))


def _write(unit: Unit, booking: Booking, **columns: Any) -> None:
    t = s.bookings
    unit.connection.execute(update(t).where(t.c.shop_id == unit.shop_id, t.c.id == booking.id).values(**columns))


def _place(slot: Slot, seat: int) -> dict[str, Any]:
    return {
        "local_start": slot.local.strftime("%Y-%m-%dT%H:%M"),
        "zone": slot.zone,
        "fold": slot.fold,
        "start_at": slot.start,
        "end_at": slot.end,
        "seat": seat,
    }


_fields = attrgetter(*Booking.__dataclass_fields__)  # in the order in which Booking takes them


def _booking(row: Any) -> Booking:
    return Booking(*_fields(row))
