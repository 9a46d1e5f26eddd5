"""What the shop sees of requests: who asks what, by when it must be answered, what stands against an erasure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.requests import ARTICLES, OPEN, Kind, Standing, may_extend, standing
from notify.flows.by_beginning import the_one
from notify.flows.context import Context
from notify.flows.keeping import fate
from notify.flows.requests_due import stands_against
from notify.store import people, requests, staff, tickets
from notify.store.database import Unit
from notify.store.requests import Request

ENDED_SHOWN = 30


@dataclass(frozen=True, slots=True)
class RequestLine:
    """One request. `days` are left until its last day, negative when it is late; `against` and `erased_from` are of an
    erasure. `person` and `note` are empty once they were forgotten; `by` is who of the staff took or answered it."""

    id: str
    kind: Kind
    article: str
    state: str
    how: str
    person: str
    number: str
    visit_id: str
    ticket_id: str
    received_on: date
    proved: bool
    last_day: date
    days: int
    standing: Standing
    extended: bool
    may_extend: bool
    against: tuple[str, ...]
    erased_from: datetime | None
    note: str
    reason: str
    ended_at: datetime | None
    by: str
    in_force: bool


@dataclass(frozen=True, slots=True)
class RequestList:
    """What is open, whose day comes first on top; by which data are set aside; and the newest that are over."""

    open: tuple[RequestLine, ...]
    in_force: tuple[RequestLine, ...]
    ended: tuple[RequestLine, ...]
    today: date


def view(ctx: Context, actor: Actor) -> RequestList:
    """The owner's list."""
    actor.need("take_request")
    with ctx.db.read(actor.shop_id) as unit:
        make, today = _maker(ctx, unit), ctx.today(ctx.shop(unit))
        found = (requests.open_requests(unit), requests.in_force(unit),
                 requests.ended_requests(unit, limit=ENDED_SHOWN))  # fmt: skip
        waiting, aside, over = (tuple(map(make.line, some)) for some in found)
        return RequestList(waiting, aside, tuple(one for one in over if not one.in_force), today)


def view_one(ctx: Context, actor: Actor, request_id: str) -> RequestLine:
    """One request; raises NotFound."""
    actor.need("take_request")
    with ctx.db.read(actor.shop_id) as unit:
        return _maker(ctx, unit).line(requests.get_request(unit, request_id))


def pressing(ctx: Context, unit: Unit) -> tuple[RequestLine, ...]:
    """Those whose last day is near or over, for the day sheet."""
    today, make = ctx.today(ctx.shop(unit)), _maker(ctx, unit)
    near = (one for one in requests.open_requests(unit) if standing(today, one.last_day) is not Standing.IN_TIME)
    return tuple(make.line(one) for one in near)


def find_request(ctx: Context, actor: Actor, beginning: str) -> str:
    """A request by the beginning of its identifier; raises NotFound or Conflict."""
    actor.need("take_request")
    with ctx.db.read(actor.shop_id) as unit:
        found = requests.ids_beginning(unit, beginning) if beginning else ()
    return the_one(found, beginning, thing="request", see="shelfbell request list", field="request")


def _maker(ctx: Context, unit: Unit) -> _Lines:
    shop = ctx.shop(unit)
    names = {row.id: str(row.name) for row in staff.list_staff(unit)}
    return _Lines(ctx, unit, ZoneInfo(shop.zone), ctx.today(shop), names)


@dataclass(frozen=True, slots=True)
class _Lines:
    """What every line of one look shares."""

    ctx: Context
    unit: Unit
    zone: ZoneInfo
    today: date
    staff: dict[str, str]

    def line(self, one: Request) -> RequestLine:
        ticket = tickets.tickets_of_visit(self.unit, one.visit_id)[0]
        is_erasure = one.kind is Kind.ERASURE and one.state == OPEN
        return RequestLine(
            id=one.id, kind=one.kind, article=ARTICLES[one.kind], state=one.state, how=one.how,
            person=people.get_person(self.unit, one.person_id).name, number=show_number(ticket.number),
            visit_id=one.visit_id, ticket_id=ticket.id, received_on=one.received_at.astimezone(self.zone).date(),
            proved=one.proved_at is not None, last_day=one.last_day, days=(one.last_day - self.today).days,
            standing=standing(self.today, one.last_day), extended=one.extended_to is not None,
            may_extend=one.state == OPEN and may_extend(self.today, one.due_on, one.extended_to),
            against=stands_against(fate(self.ctx, self.unit, one.person_id)) if is_erasure else (),
            erased_from=one.rests_until if is_erasure else None, note=one.note, reason=one.reason,
            ended_at=one.ended_at, by=self.staff.get(one.staff_id, ""), in_force=one.in_force,
        )  # fmt: skip
