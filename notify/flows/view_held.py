"""What the owner sees of all that is held: of what kind, how old, what goes next, who stays and why, and the proofs.

Identifiers, codes, days and figures only; nobody is named, and nothing sealed is opened.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from notify.config.settings import Settings
from notify.core.actors import Actor
from notify.core.claim_number import show_number
from notify.core.consent import SAID
from notify.core.processing import Life
from notify.flows import backup, keys
from notify.flows.context import Context
from notify.flows.keeping import Fate, fates
from notify.flows.processing import processing
from notify.store import data_holds, job_runs, overview
from notify.store.database import Unit
from notify.store.overview import Aged, Consent, Erasure

WEEKS = 13  # shown ahead, each from today on: 91 days
STEPS = (7, 30, 90)  # days, for the words beside the picture
MOST = 50  # cases on the page; the rest is a figure
ERASURES = 5
JOB = "forget"


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of data: how many rows by age (store/overview.AGES), and how long it is kept by which rule."""

    aged: Aged
    life: Life


@dataclass(frozen=True, slots=True)
class Ahead:
    """Who goes when: `weeks` from today on (who is due already stands in the first), `later` after those, `open`
    whoever has no day yet because a device is here, `kept` whose time is over and who stay for a reason.
    """

    due: int
    weeks: tuple[int, ...]
    within: tuple[tuple[int, int], ...]
    later: int
    open: int
    kept: int


@dataclass(frozen=True, slots=True)
class Kept:
    """One person who stays though their time is over: their newest ticket, since when, why, and the review day."""

    ticket_id: str
    number: str
    over_since: date | None
    reasons: tuple[str, ...]
    review_on: date | None


@dataclass(frozen=True, slots=True)
class Asked:
    """An open request by law: kind, claim number, its last day, and how many days are left (below 0: too late)."""

    id: str
    kind: str
    number: str
    last_day: date
    days_left: int


@dataclass(frozen=True, slots=True)
class KeyAge:
    """A key of the installation and how many days it has been in use; None where that is not known."""

    kind: str
    id: str
    days: int | None


@dataclass(frozen=True, slots=True)
class Held:
    """Everything on the page. Times are None where something never happened; `backups_on`: the program makes any."""

    now: datetime
    today: date
    kinds: tuple[Kind, ...]
    ahead: Ahead
    kept: tuple[Kept, ...]
    consents: tuple[Consent, ...]
    suppressed: Mapping[str, int]
    asked: tuple[Asked, ...]
    ran_at: datetime | None
    erasures: tuple[Erasure, ...]
    unproved: int
    backups_on: bool
    backup_at: datetime | None
    backup_failed_at: datetime | None
    keys: tuple[KeyAge, ...]


def view(ctx: Context, actor: Actor, settings: Settings) -> Held:
    """The figures of one shop; job runs, backups and keys are those of the installation."""
    actor.need("settings")
    lives = {one.data_class: one for one in processing(ctx, actor.shop_id, settings).lives()}
    now = ctx.clock()
    with ctx.db.read(actor.shop_id) as unit:
        today = ctx.today(ctx.shop(unit))
        aged, found = overview.ages(unit, now), fates(ctx, unit)
        people = sum(one.rows for one in aged if one.data_class in ("contact_card", "delegate"))
        return Held(
            now=now, today=today, kinds=tuple(Kind(one, lives[one.data_class]) for one in aged),
            ahead=_ahead(found, people, today), kept=_kept(unit, found),
            consents=tuple(sorted(overview.consents(unit), key=lambda one: SAID.index(one.purpose))),
            suppressed=overview.suppressions(unit), asked=_asked(unit, today), ran_at=_ran(ctx, JOB),
            erasures=overview.last_erasures(unit, limit=ERASURES), unproved=overview.unproved(unit),
            backups_on=settings.backup.folder is not None, backup_at=_ran(ctx, backup.GOOD),
            backup_failed_at=_ran(ctx, backup.FAILED), keys=_keys(ctx, now),
        )  # fmt: skip


def _ahead(found: Sequence[Fate], people: int, today: date) -> Ahead:
    """Whoever has a day: by how many days it is away. One who is both customer and named counts by their first fate."""
    fates_by_person: dict[str, Fate] = {}
    for one in found:
        fates_by_person.setdefault(one.person_id, one)
    whole = fates_by_person.values()
    days = [max(0, (one.goes_on - today).days) for one in whole if one.goes_on and one.state in ("due", "running")]
    weeks = Counter(number // 7 for number in days)
    kept = sum(one.state == "kept" for one in whole)
    return Ahead(
        due=sum(one.state == "due" for one in whole), weeks=tuple(weeks[n] for n in range(WEEKS)),
        within=tuple((step, sum(number < step for number in days)) for step in STEPS),
        later=sum(number for week, number in weeks.items() if week >= WEEKS),
        open=max(0, people - len(days) - kept), kept=kept,
    )  # fmt: skip


def _kept(unit: Unit, found: Iterable[Fate]) -> tuple[Kept, ...]:
    over = [one for one in found if one.state == "kept"]
    shown = sorted(over, key=lambda one: (one.goes_on or date.max, one.person_id))[:MOST]
    tickets = overview.tickets_of_people(unit, (one.person_id for one in shown))
    reviews = data_holds.first_reviews(unit)
    return tuple(
        Kept(ticket, _number(number), one.goes_on, one.reasons, reviews.get(one.person_id))
        for one in shown
        for ticket, number in (tickets.get(one.person_id, ("", "")),)
    )


def _asked(unit: Unit, today: date) -> tuple[Asked, ...]:
    return tuple(
        Asked(one.id, one.kind, _number(one.number), one.last_day, (one.last_day - today).days)
        for one in overview.waiting(unit)
    )


def _number(plain: str) -> str:
    return show_number(plain) if plain else ""


def _ran(ctx: Context, name: str) -> datetime | None:
    at = job_runs.last_run(ctx.db, name)
    return at if at > job_runs.NEVER else None


def _keys(ctx: Context, now: datetime) -> tuple[KeyAge, ...]:
    """Of a key from a day that a clock set back has not reached yet: no days."""
    return tuple(KeyAge(one.kind, one.id, max(0, (now - one.since) // timedelta(days=1)) if one.since else None)
                 for one in keys.show(ctx) if one.current)  # fmt: skip
