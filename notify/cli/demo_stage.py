"""The stage of the demo: a clock that is moved through the past months, and the hands that act on it."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from notify.core.actors import Actor
from notify.flows import check_in, forget, handover, moves, pickup, questions, reminders, score_promises
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.context import Context
from notify.store import messages, tickets
from notify.wiring import Services

ZONE = "Europe/London"
# A story yields the instant at which it goes on; between two instants the rest of the town goes on as well.
Story = Generator[datetime, None, Any]


class MovedClock:
    """A clock that shows what it was set to."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def __call__(self) -> datetime:
        """The instant it was set to."""
        return self.at


@dataclass(slots=True)
class Stage:
    """The demo's shop while its past is played. `links` collects claim links worth showing, by a few words."""

    services: Services
    clock: MovedClock
    now: datetime
    shop_id: str
    owner: Actor
    technician: Actor
    counter: Actor
    links: dict[str, str] = field(default_factory=dict)

    @property
    def ctx(self) -> Context:
        """What flows are handed."""
        return self.services.context

    @property
    def system(self) -> Actor:
        """The clock's own jobs."""
        return Actor(self.shop_id, "system", "clock")

    @property
    def customer(self) -> Actor:
        """Whoever holds a claim link."""
        return Actor(self.shop_id, "customer", "customer")

    def day(self, days_ago: int, clock: str) -> datetime:
        """An hour of the shop's clock some days ago; never later than a minute ago."""
        today = self.now.astimezone(ZoneInfo(ZONE)).date()
        at = datetime.combine(today - timedelta(days=days_ago), time.fromisoformat(clock), ZoneInfo(ZONE))
        return min(at, self.now - timedelta(minutes=1))

    def ago(self, minutes: float) -> datetime:
        """So many minutes before now."""
        return self.now - timedelta(minutes=minutes)

    def hours_on(self, hours: float) -> str:
        """A ready time so many hours after the clock's, on the half hour, as it is typed at check-in."""
        local = (self.clock() + timedelta(hours=hours)).astimezone(ZoneInfo(ZONE))
        return local.replace(minute=30 * (local.minute // 30), second=0, microsecond=0).strftime("%Y-%m-%dT%H:%M")

    def check_in(self, name: str, *devices: DeviceForm, phone: str = "", email: str = "", **visit: Any) -> Visit:
        """Takes devices in at the counter."""
        form = VisitForm(bringer=PersonForm(name=name, phone=phone, email=email), devices=devices, **visit)
        done = check_in.check_in(self.ctx, self.counter, form)
        return Visit(self, done.visit_id, done.ticket_ids, done.numbers)

    def deliver(self, until: datetime) -> None:
        """Lets the dispatcher do what was due up to then, each at its own time."""
        while (due := self._next_due()) is not None and due <= until:
            self.clock.at = max(self.clock.at, due)
            if not self.services.dispatcher.run_once(self.shop_id):
                return

    def _next_due(self) -> datetime | None:
        with self.ctx.db.read(self.shop_id) as unit:
            return messages.next_due(unit)

    def jobs(self, *, forgetting: bool = False) -> None:
        """What the clock does by itself."""
        for job in (
            score_promises.settle_due,
            questions.expire_due,
            reminders.note_missed,
            reminders.remind_due,
            reminders.remind_collection,
        ):
            job(self.ctx, self.system)
        self.services.dispatcher.end_stale_calls(self.shop_id)
        if forgetting:
            forget.forget(self.ctx, self.system, drop_copies=self.services.drop_copies)


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit on the stage; `which` counts its devices from 0."""

    stage: Stage
    visit_id: str
    ticket_ids: tuple[str, ...]
    numbers: tuple[str, ...]

    def move(self, *phases: str, which: int = 0, **how: Any) -> None:
        """Moves a device through phases; the technician does it, the last step with `how`."""
        for phase in phases:
            told = how if phase == phases[-1] else {}
            moves.move(self.stage.ctx, self.stage.technician, self.ticket_ids[which], phase, **told)

    def token(self, which: int = 0) -> str:
        """The claim secret."""
        with self.stage.ctx.db.read(self.stage.shop_id) as unit:
            return tickets.get_ticket(unit, self.ticket_ids[which]).token

    def link(self, words: str, which: int = 0) -> None:
        """Has the claim page shown among the addresses to open."""
        self.stage.links[words] = self.stage.ctx.claim_link(self.token(which))

    def hand_back(self, *which: int) -> None:
        """Scans the claim ticket and gives devices back."""
        chosen = [self.ticket_ids[i] for i in which or range(len(self.ticket_ids))]
        handover.hand_back(
            self.stage.ctx, self.stage.counter, ticket_ids=chosen, token=self.token(which[0] if which else 0)
        )

    def book(self, fits: Callable[[datetime], bool]) -> bool:
        """The customer books the first offered slot whose start fits; whether there was one."""
        offered = pickup.offers(self.stage.ctx, self.stage.customer, self.visit_id)
        slot = next((offer.slot for offer in offered if fits(offer.slot.start)), None)
        if slot is None:
            return False
        pickup.book(self.stage.ctx, self.stage.customer, self.visit_id, slot.local, fold=slot.fold)
        return True


def play(stage: Stage, stories: list[Story]) -> None:
    """Plays all stories at once in order of time, then lets everything due up to now leave."""
    order = itertools.count()
    queue = [(next(story), next(order), story) for story in stories]
    heapq.heapify(queue)
    while queue:
        at, _, story = heapq.heappop(queue)
        stage.deliver(at)
        stage.clock.at = max(stage.clock.at, at)
        then = next(story, None)
        if then is not None:
            heapq.heappush(queue, (then, next(order), story))
    stage.deliver(stage.now)
    stage.clock.at = stage.now
