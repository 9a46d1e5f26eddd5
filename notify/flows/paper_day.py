"""The day sheet on paper and its file of each evening. Longer than other rooms: a file that names people needs care."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from notify.core.actors import Actor
from notify.core.bench_order import IN_WORK
from notify.core.contacts import show_phone
from notify.core.errors import Invalid, Unavailable
from notify.core.hours import spans_on
from notify.core.instants import zone
from notify.core.money import show_amount
from notify.core.shop import Shop
from notify.core.tickets import WaitsOn
from notify.flows import contact_reads
from notify.flows.bench_order import look
from notify.flows.context import Context
from notify.flows.since_erased import once_since_erased
from notify.flows.view_calls import calls_to_make, numbers_in
from notify.flows.view_deliveries import Deliveries, gather
from notify.flows.view_lines import Lines, TicketLine
from notify.flows.view_pickups import Pickup, pickups_of
from notify.flows.view_shelf import shelf
from notify.render.dates import say_day, say_time
from notify.render.day_paper import DayPaper, PaperLine, PaperPart, day_pdf
from notify.render.words import Language
from notify.store import shops, tickets, visits
from notify.store.database import Unit
from notify.store.pickup_day import phones

MOST = 60  # lines of one list: nobody works through more on one day, and paper has an end
_LOOK_AHEAD = 14


def next_open_day(ctx: Context, actor: Actor) -> date:
    """The next day, from tomorrow on, on which the shop is open; tomorrow when it is shut for a fortnight."""
    actor.need("look")
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
        counter, tomorrow = shops.get_counter(unit, shop), ctx.today(shop) + timedelta(days=1)
        days = (tomorrow + timedelta(days=ahead) for ahead in range(_LOOK_AHEAD))
        return next((day for day in days if spans_on(counter, day)), tomorrow)


def paper_day(ctx: Context, actor: Actor, day: date, *, words: Language) -> DayPaper:
    """Everything that is needed on `day`, from one snapshot. For who may see contacts, and for the clock."""
    actor.need("look" if actor.kind == "system" else "see_contact")
    with ctx.db.read(actor.shop_id) as unit:
        paper = _Paper(ctx, unit, words)
        made = paper.of(day)
    contact_reads.note(ctx, actor, "paper", paper.seen)
    return made


class _Paper:
    """One sheet, while it is gathered."""

    def __init__(self, ctx: Context, unit: Unit, words: Language) -> None:
        self.ctx, self.unit, self.w = ctx, unit, words
        self.shop: Shop = ctx.shop(unit)
        self.lines = Lines(unit)
        self.bringers: dict[str, str] = {}  # visit -> who brought it
        self.phones: Mapping[str, str] = {}  # person -> the number to call
        self.seen: list[contact_reads.Seen] = []  # whose numbers stand on it

    def of(self, day: date) -> DayPaper:
        pickups = pickups_of(self.ctx, self.unit, self.lines, day)
        coming = {one.visit_id for one in pickups}
        self._read_phones(coming)
        ready = [one.ticket for one in shelf(self.ctx, self.unit, self.lines) if one.ticket.visit_id not in coming]
        able, waiting = self._bench()
        return DayPaper(
            shop=self.shop.name, day=say_day(datetime.combine(day, time(12), UTC), zone="UTC", language=self.w.code),
            made=self.w("day_paper.made", when=self._when(self.ctx.clock())),
            parts=(
                self._part("pickups", (self._pickup(one) for one in pickups)),
                self._part("shelf", (PaperLine("", one.number, self._thing(one, who=True)) for one in ready)),
                self._part("bench", (PaperLine("", one.number, self._work(one)) for one in able)),
                self._part("boxes", self._boxes(gather(self.ctx, self.unit, self.lines), day)),
                self._part("waits", (PaperLine("", one.number, self._work(one)) for one in waiting)),
                self._part("calls", self._calls()),
            ),
        )  # fmt: skip

    def _part(self, name: str, found: Iterable[PaperLine]) -> PaperPart:
        lines = tuple(found)
        more = len(lines) - MOST
        cut = (PaperLine("", "", self.w("day_paper.rest", more=more)),) if more > 0 else ()
        return PaperPart(self.w[f"day_paper.{name}"], (*lines[:MOST], *cut), self.w[f"day_paper.no_{name}"])

    def _bench(self) -> tuple[list[TicketLine], list[TicketLine]]:
        """What the bench can do in its order, and what waits for somebody."""
        work = {one.ticket_id: one for one in self.lines.of(tickets.tickets_in(self.unit, IN_WORK))}
        ordered = [work[one] for one in look(self.ctx, self.unit).order if one in work]
        ordered += [one for one in work.values() if one not in ordered]
        able = [one for one in ordered if one.waits_on is WaitsOn.BENCH]
        return able, [one for one in ordered if one.waits_on is not WaitsOn.BENCH]

    def _pickup(self, one: Pickup) -> PaperLine:
        first = (*one.ready, *one.waiting)[:1]
        many = len(one.ready) > 1
        things = "; ".join(f"{t.number} {self._thing(t)}" if many else self._thing(t) for t in one.ready)
        said = [one.person or self.w["day_paper.anybody"], self._phone(one.visit_id), things]
        said += [self.w("day_paper.to_pay", amount=self._amount(one.left))] if one.left else []
        return PaperLine(self._time(one.start_at), first[0].number if first else "", ", ".join(filter(None, said)))

    def _read_phones(self, visit_ids: Iterable[str]) -> None:
        for one in visit_ids:
            self.bringers[one] = visits.visit_people(self.unit, one).get("bringer", ("",))[0]
        self.phones = phones(self.unit, filter(None, self.bringers.values()))

    def _phone(self, visit_id: str) -> str:
        bringer = self.bringers[visit_id]
        phone = self.phones.get(bringer, "")
        if phone:
            self.seen.append((bringer, None))
        return show_phone(phone) if phone else ""

    def _thing(self, one: TicketLine, *, who: bool = False) -> str:
        place = self.w("day_paper.place", place=one.shelf) if one.shelf else self.w["day_paper.no_place"]
        said = [one.device, place, *([one.person or self.w["day_paper.anybody"]] if who else [])]
        said += [self.w("day_paper.to_pay", amount=self._amount(one.left))] if who and one.left else []
        return self._careful(", ".join(filter(None, said)), one)

    def _work(self, one: TicketLine) -> str:
        waits = {WaitsOn.CUSTOMER: self.w["day_paper.answer"], WaitsOn.PART: self.w["day_paper.part"]}
        said = [f"{one.device}: {one.fault}" if one.fault else one.device, waits.get(one.waits_on, "")]
        said += [self.w("day_paper.by", when=self._when(one.promise_at))] if one.promise_at else []
        said += [self.w("day_paper.place", place=one.shelf)] if one.shelf else []
        return self._careful(", ".join(filter(None, said)), one)

    def _careful(self, said: str, one: TicketLine) -> str:
        """With what its safety flags ask for: on such a day the paper is all that says so."""
        flags = ", ".join(self.w[f"safety.{flag}"].lower() for flag in one.safety)
        return f"{said}. {self.w('day_paper.careful', flags=flags)}" if flags else said

    def _boxes(self, found: Deliveries, day: date) -> Iterable[PaperLine]:
        for one in found.boxes:
            if not (one.late or (one.day is not None and one.day <= day)):
                continue
            parts = ", ".join(f"{part.name} ({part.ticket.number})" for part in one.parts)
            lead = self.w["day_paper.late"] if one.late else self._time(one.due_at) if one.due_at else ""
            yield PaperLine(lead, one.supplier, parts)

    def _calls(self) -> Iterable[PaperLine]:
        for one in calls_to_make(self.ctx, self.unit, self.lines):
            phone = show_phone(one.phone) if one.phone else self.w["day_paper.no_phone"]
            self.seen += numbers_in([one])
            who = one.person or self.w["day_paper.anybody"]
            yield PaperLine("", one.ticket.number, self.w("day_paper.call", who=who, phone=phone, words=one.sentence))

    def _amount(self, minor: int) -> str:
        return show_amount(minor, currency=self.shop.currency, language=self.w.code)

    def _time(self, moment: datetime) -> str:
        return say_time(moment, zone=self.shop.zone, language=self.w.code)

    def _when(self, moment: datetime) -> str:
        return f"{say_day(moment, zone=self.shop.zone, language=self.w.code)}, {self._time(moment)}"


def day_sheet_pdf(ctx: Context, actor: Actor, day: date, *, words: Language, templates: Path) -> bytes:
    """The sheet of a day as a PDF."""
    sheet = paper_day(ctx, actor, day, words=words)
    return day_pdf(sheet, words=words, templates=templates, made_at=ctx.clock())


def write_due(
    ctx: Context, actor: Actor, *, folder: Path, at: time, keep_days: int, make: Callable[[date], bytes]
) -> Path | None:
    """Writes the next open day's sheet, from `at` of the shop's clock until midnight; the file, None when not now.

    It replaces what was written for that day, is readable by its owner only and whole at every moment; sheets of days
    longer ago than `keep_days` are removed; at whatever hour all that were written before somebody was forgotten go.
    Raises Unavailable when the folder cannot be written.
    """
    with ctx.db.read(actor.shop_id) as unit:
        shop = ctx.shop(unit)
    now = ctx.clock().astimezone(zone(shop.zone))
    _drop_forgotten(ctx, actor, folder, make, today=now.date())
    if now.time() < at:
        return None
    day = next_open_day(ctx, actor)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        file = _put(folder / f"{_stem(actor)}{day.isoformat()}.pdf", make(day))
        _drop_old(folder, _stem(actor), before=now.date() - timedelta(days=keep_days))
    except OSError as error:
        raise Unavailable(f"The day sheet cannot be written ({error.strerror})", "Look at its folder.") from None
    return file


def _drop_forgotten(
    ctx: Context, actor: Actor, folder: Path, make: Callable[[date], bytes], *, today: date
) -> None:  # fmt: skip
    """Sheets name many people: when one is forgotten all go, and those of today and later are made anew."""

    def act() -> None:
        for old in sorted(folder.glob(f"{_stem(actor)}*.pdf")):
            day = old.stem.removeprefix(_stem(actor))
            _shred(old)
            if day >= today.isoformat():
                _put(old, make(date.fromisoformat(day)))

    try:
        if folder.is_dir():
            once_since_erased(ctx, actor.shop_id, folder / f".{_stem(actor)}forgotten", act)
    except OSError as error:
        raise Unavailable(f"The day sheet cannot be written ({error.strerror})", "Look at its folder.") from None


def _shred(file: Path) -> None:
    """Overwrites before removing. On a copy-on-write or flash disk older blocks may outlive this."""
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_NOFOLLOW), "wb") as out:
        out.write(b"\0" * os.fstat(out.fileno()).st_size)
        out.flush()
        os.fsync(out.fileno())
    file.unlink()


def _stem(actor: Actor) -> str:
    return f"day-sheet-{actor.shop_id[:8]}-"


def _put(file: Path, data: bytes) -> Path:
    """Beside the old one first, then in its place: whoever prints meanwhile gets a whole one."""
    new = file.with_suffix(".new")
    new.unlink(missing_ok=True)
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(data)
    return new.replace(file)


def _drop_old(folder: Path, stem: str, *, before: date) -> None:
    for old in folder.glob(f"{stem}*.pdf"):
        if old.stem.removeprefix(stem) < before.isoformat():
            old.unlink(missing_ok=True)


def parse_day(text: str, *, today: date) -> date:
    """ "today", "tomorrow" or a date such as 2026-11-26; raises Invalid."""
    known = {"today": today, "tomorrow": today + timedelta(days=1)}
    try:
        return known.get(text) or date.fromisoformat(text)
    except ValueError:
        raise Invalid(
            f"{text[:20]!r} is no day", "Write today, tomorrow or a date like 2026-11-26.", field="day"
        ) from None
