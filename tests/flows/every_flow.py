"""A story in which every writing flow happens once: each is cut off at every statement. A new flow gets a step here."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, time, timedelta
from typing import Any

from notify.core.actors import Actor
from notify.core.bench_order import Standing
from notify.core.calendar_choices import Choice
from notify.core.itip import Answer, Partstat
from notify.core.one_click import Use
from notify.core.scan import Scan
from notify.core.sources import Batch, Change
from notify.flows import (
    another_came,
    api_tokens,
    arrivals,
    ask_after,
    at_bench,
    bench_order,
    calls,
    check_in,
    contact_reads,
    data_holds,
    desk_notes,
    desk_secret,
    doubts,
    earlier,
    feeds,
    forecast,
    give_part,
    granted,
    handover,
    hear_reply,
    history,
    hits,
    holds,
    keep_rules,
    late_parts,
    learn,
    listeners,
    lost_ticket,
    moves,
    once,
    open_shop,
    pads,
    parts,
    passes,
    pickup,
    promises,
    questions,
    reach,
    reminders,
    repair_kinds,
    replies,
    requests,
    requests_due,
    resend,
    returns,
    score_promises,
    set_hours,
    set_up,
    settle_answer,
    source_state,
    staff,
    staff_bell,
    stop_by_link,
    suppressions,
    take_call,
    take_changes,
    tell_before,
    uncollected,
    watch_clock,
)  # fmt: skip
from notify.flows import contact_codes as code_flow
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.flows.desk_secret import WrongSecret
from notify.flows.hear_reply import Heard
from notify.flows.take_call import Call, Told
from notify.store import (
    absences,
    bench_orders,
    bookings,
    calendar_answers,
    contact_codes,
    events,
    letters,
    messages,
    shops,
    tickets,
    visits,
)
from notify.store import doubts as doubt_rows
from notify.store import listeners as listener_rows
from notify.store import parts as part_rows
from notify.store import repair_kinds as kind_rows
from notify.store.bench_orders import Suggested
from tests.parts.house import SHOP
from tests.parts.signed_source import source_settings

TAM = "tam@example.org"
CONE = parts.Terms(article="SC-4")
# Flows of several transactions, each for the reason given; their own tests cut them off.
SEVERAL = {
    "forget.forget": "keys, copies and rows go one after the other, so that every cut leaves less, never more",
    "forget.erase_person": "the same",
    "forget.finish_cut_off": "the same",
    "forget.forget_delegates": "the same",
    "restore.after_care": "on files that nobody serves yet: it may be done again whole, and changes nothing more then",
    "requests_due.erase_due": "forget.erase_person for each, then the request ends; whoever was cut off between is "
    "found by the next night",
    "forget.confirm": "rewrites files, then notes it",
    "staff.sign_in": "a try counts even when the sign-in fails",
    "staff.switch": "the same",
    "claims.count_guess": "one counter",
    "lost_ticket.answer_asked": "what was typed is taken first, then contact_codes.send_code once for each number; a "
    "cut between loses a request, and whoever waits for the code asks again",
    "replies.forget_strangers": "keys, then rows, as with forgetting; a cut leaves unreadable rows for the next night",
    "hear_text.hear_text": "hear_reply.hear, once for each shop that knows the number; the key lets a repeat go on",
    "history.read_history": "some thousand lines each; tests/flows/test_history cuts it off at every statement",
    "hits.changing_hours": "the transaction of the flows that change hours, each of which has its step",
    "doubts.mean": "the word, then what waits for it, a hundred to a transaction: what is left is tried again by the "
    "next look, which knows the word",
    "doubts.leave_all": "a hundred to a transaction; the rest waits on",
    "doubts.forget_strangers": "keys, then rows, as with replies",
    "once.once": "what is asked for with its key, then the answer: a repeat after a cut between is told that it is "
    "done; tests/web/test_api_requests",
}


@dataclass
class Story:
    """The installation and what happened so far, by name."""

    house: Any
    made: dict[str, Any] = field(default_factory=dict)

    def ticket(self, n: int = 0) -> str:
        """The n-th ticket of the visit."""
        return str(self.made["visit"].ticket_ids[n])

    def message(self, state: str, notice: str = "") -> Any:
        """The newest message in that state."""
        with self.house.read() as unit:
            return next(m for m in messages.list_messages(unit, states=[state]) if not notice or m.notice == notice)

    def person(self) -> str:
        """The person who brought the devices."""
        with self.house.read() as unit:
            return tickets.get_ticket(unit, self.ticket()).person_id


@dataclass(frozen=True)
class Step:
    """One flow carried out. `keep` names its result; `telling` says that it must put something in the outbox."""

    flow: str
    do: Callable[[Story], Any]
    keep: str = ""
    telling: bool = False


def _form() -> VisitForm:
    return VisitForm(
        bringer=PersonForm("Ines Farrow", "07700 900123", "ines@example.org"),
        tell=PersonForm("Tam Okoro", "07700 900456"), payer=PersonForm("Ula Berg", email="ula@example.net"),
        collectors=("Jo Pike",), once="once-1",
        devices=(DeviceForm("Kestrel radio", fault="hums", promise="2026-11-26T11:30"), DeviceForm("Vantage camera")),
    )  # fmt: skip


def _move(to: str, n: int = 0, **more: Any) -> Step:
    telling = to == "on_shelf" or more.get("reason") == "fault_seen_again"
    return Step("moves.move", lambda s: moves.move(s.house.ctx, s.house.actor(), s.ticket(n), to, **more),
                telling=telling)  # fmt: skip


def _flow(flow: str, call: Callable[..., Any], keep: str = "", /, *, telling: bool = False, **args: Any) -> Step:
    """A flow of the owner; an argument that is a function is asked for its value at the moment."""

    def do(story: Story) -> Any:
        given = {key: value(story) if callable(value) else value for key, value in args.items()}
        return call(story.house.ctx, story.house.actor(), **given)

    return Step(flow, do, keep, telling)


def _asked_once(story: Story) -> Any:
    """A script's request with a key, which asks for a note."""
    house = story.house
    asked = once.Asked("form-1042", b"note", b"s" * 32)
    note = desk_notes.add_note
    return once.once(house.ctx, house.actor(), asked,
                     lambda ctx: {"note": note(ctx, house.actor(), story.ticket(), text="By a script")})  # fmt: skip


def _caller(story: Story) -> Any:
    return api_tokens.find_caller(story.house.ctx, story.made["token"].secret)


def _listener(story: Story) -> str:
    return str(story.made["listener"].id)


def _refuse_event(story: Story) -> None:
    """The listener refuses the newest event."""
    with story.house.ctx.db.write(story.house.shop_id) as unit:
        (one,) = listener_rows.events_after(unit, listener_rows.newest(unit) - 1, limit=1)
        listener_rows.add_refused(unit, story.made["listener"].id, one, status=422, at=story.house.clock())


def _old_call(story: Story) -> None:
    """A call was taken long ago."""
    with story.house.ctx.db.write(story.house.shop_id) as unit:
        at = story.house.clock() - 2 * take_call.KEPT
        letters.take(unit, take_call.SOURCE, "0" * 64, kind=take_call.KIND, at=at)


def _parts(name: str = "part") -> Callable[[Story], list[str]]:
    """A part as a list of one."""
    return lambda story: [story.made[name]]


def _still_needed(story: Story) -> str:
    """The part that the visit's first ticket waits for."""
    with story.house.read() as unit:
        return next(one.id for one in part_rows.waiting_lines(unit) if one.ticket_id == story.ticket())


def _wait(seconds: float) -> Step:
    return Step("", lambda s: s.house.deliver(after=seconds))


def _slot(n: int) -> Callable[[Story], Any]:
    return lambda s: pickup.offers(s.house.ctx, s.house.actor(), s.made["visit"].visit_id)[n].slot.local


def _booking(story: Story) -> Any:
    with story.house.read() as unit:
        return bookings.live_booking(unit, _visit(story))


def _day_of_pickup(story: Story) -> date:
    return date.fromisoformat(_booking(story).local_start[:10])


def _ticket(story: Story) -> str:
    return story.ticket()


def _visit(story: Story) -> str:
    return str(story.made["visit"].visit_id)


def _in(**span: float) -> Callable[[Story], Any]:
    return lambda s: s.house.clock() + timedelta(**span)


_LIST = Batch("bench", "tickets", "UTC", {"done": "in_line", "never": "left_behind"}, {})


def _tell(*references: str) -> Callable[[Story], Any]:
    """A list tells of jobs that nobody here knows, the second of one that only a person may close."""
    changes = [Change(n, {"reference": one, "phase": "done"}) for n, one in enumerate(references)]
    changes[1] = Change(1, {"reference": references[1], "phase": "never", "device": "Radio"})
    return lambda s: take_changes.take(s.house.ctx, Actor(s.house.shop_id, "source", "bench"), _LIST, changes)


def _doubt(line: int) -> Callable[[Story], str]:
    def find(story: Story) -> str:
        with story.house.read() as unit:
            return next(one.id for one in doubt_rows.list_open(unit) if one.line == line)

    return find


def _claim_number(story: Story) -> str:
    return str(story.made["visit"].numbers[1])


def _made(name: str) -> Callable[[Story], Any]:
    return lambda s: s.made[name]


def _hours_id(story: Story) -> str:
    with story.house.read() as unit:
        return str(shops.list_hours(unit)[0][0])


def _token(story: Story) -> str:
    with story.house.read() as unit:
        return tickets.get_ticket(unit, story.ticket()).token


def _wrong_pass(story: Story) -> None:
    with suppress(WrongSecret):
        desk_secret.try_secret(story.house.ctx, story.house.actor(), _visit(story), Scan("pass", "b" * 16))


def _jo(story: Story) -> str:
    """Jo Pike, who was named at check-in."""
    with story.house.read() as unit:
        return visits.visit_people(unit, _visit(story))["collector"][0]


def _code(story: Story) -> str:
    """The code that was sent last, as its reader would type it."""
    with story.house.read() as unit:
        newest = [e for e in events.story_of(unit, visit_id=_visit(story)) if e.kind == "code_asked"][-1]
        return contact_codes.text_of(unit, str(newest.codes["code"]))


def _hear(text: str, key: str, keep: str = "", *, telling: bool = False) -> Step:
    """Tam, who is told, writes back by text message."""

    def do(story: Story) -> str:
        heard = Heard("sms", "07700 900456", text, story.house.clock(), key, "sms")
        return hear_reply.hear(story.house.ctx, story.house.shop_id, heard)

    return Step("hear_reply.hear", do, keep, telling)


def _mail_of_tam(address: str) -> Step:
    return Step("", lambda s: reach.set_contact(
        s.house.ctx, s.house.actor(), _visit(s), s.made["told"], channel="email", address=address))  # fmt: skip


def _calendar(partstat: Partstat, key: str, *, method: str = "REPLY", telling: bool = False) -> Step:
    """Tam's calendar answers the invite, proved, or asks for the second next day."""

    def do(story: Story) -> str:
        house, at = story.house, story.house.clock()
        with house.read() as unit:
            booking = bookings.live_booking(unit, _visit(story))
        assert booking is not None
        start = booking.start_at + timedelta(days=2) if method == "COUNTER" else None
        said = Answer(method, booking.uid, TAM, partstat, sequence=booking.revision, stamp=at, start=start)
        heard = Heard("email", TAM, "", at, key, "mail", calendar_answers=(said,), proved=True)
        return hear_reply.hear(house.ctx, house.shop_id, heard)

    return Step("hear_reply.hear", do, "", telling)


def _settle(choice: Choice, *, telling: bool = False) -> Step:
    def do(story: Story) -> None:
        with story.house.read() as unit:
            (asked,) = calendar_answers.open_answers(unit)
        settle_answer.settle(story.house.ctx, story.house.actor(), asked.id, choice)

    return Step("settle_answer.settle", do, "", telling)


def _typed_code(purpose: str) -> Callable[[Story], str]:
    """The code that is open for the visit, as its message tells it."""

    def read(story: Story) -> str:
        with story.house.read() as unit:
            code = contact_codes.newest_open(unit, _visit(story), purpose, now=story.house.clock())
            return contact_codes.text_of(unit, code)

    return read


def _number(story: Story) -> str:
    with story.house.read() as unit:
        return tickets.get_ticket(unit, story.ticket()).number


def _old_absence(s: Story) -> None:
    """Somebody was away, long ago."""
    now = s.house.clock()
    with s.house.ctx.db.write(s.house.shop_id) as unit:
        absences.add_absence(unit, staff_id=s.made["odile"], starts_at=now - timedelta(days=60),
                             ends_at=now - timedelta(days=40))  # fmt: skip


def _spoil_sums(story: Story) -> None:
    """As if somebody had written into the table."""
    with story.house.ctx.db.write(story.house.shop_id) as unit:
        found = kind_rows.find_kind(unit, "Tape deck belt")
        kind_rows.add_sums(unit, found.id, jobs=1, total=3.0, squares=9.0)


def _from_page(flow: str, call: Callable[..., Any], **args: Any) -> Step:
    """What somebody types into the page of lost tickets."""

    def do(story: Story) -> Any:
        given = {key: value(story) if callable(value) else value for key, value in args.items()}
        return call(story.house.ctx, story.house.shop_id, **given, source="192.0.2.7", limit=20)

    return Step(flow, do, telling="code" in args)


def _suggestion(story: Story) -> str:
    """A suggestion that waits for a word: the other device first."""
    ctx, two = story.house.ctx, Standing((story.ticket(1), story.ticket(0)))
    with ctx.db.write(story.house.shop_id) as unit:
        about = Suggested(moved_id=story.ticket(1), why="sooner", inputs=bench_order.look(ctx, unit).facts)
        return bench_orders.add_order(unit, "suggested", two, at=story.house.clock(), about=about)


def _first_call(result: str) -> Step:
    return _flow("calls.log_call", calls.log_call, message_id=lambda s: s.message("to_call").id, result=result,
                 note="rang twice")  # fmt: skip


SHOP_STEPS = (
    Step("set_up.make_shop", lambda s: set_up.make_shop(s.house.ctx, settings=SHOP)),
    Step("open_shop.open_shop", lambda s: open_shop.open_shop(
        s.house.ctx, settings={"name": "Pier Bench"}, owner=open_shop.Owner("Mia", "four kind words"))),
    _flow("set_up.change_settings", set_up.change_settings, values={"name": "Tramstop", "lead_minutes": 0}),
    _flow("set_up.add_hours", set_up.add_hours, weekday=6, opens=time(10), closes=time(12), capacity=1),
    _flow("set_up.drop_hours", set_up.drop_hours, hours_id=_hours_id),
    _flow("set_hours.set_hours", set_hours.set_hours, rows=(), pickups={}),
    *(
        _flow("set_up.add_hours", set_up.add_hours, weekday=day, opens=time(9), closes=time(18), capacity=3)
        for day in range(6)
    ),
    _flow("set_up.add_special_day", set_up.add_special_day, "special", day=date(2026, 12, 24), reason="holiday"),
    _flow("set_up.drop_special_day", set_up.drop_special_day, special_id=_made("special")),
    _flow("set_up.change_settings", set_up.change_settings, values={"holidays_of": "GB-ENG"}),
    _flow("set_up.open_as_usual", set_up.open_as_usual, day=date(2026, 12, 28)),
    _flow("set_up.put_supplier", set_up.put_supplier, "other", name="Spare Quay", cutoff=None, delivers_at=None,
          days=2),
    _flow("set_up.drop_supplier", set_up.drop_supplier, supplier_id=_made("other")),
    _flow("set_up.put_supplier", set_up.put_supplier, name="Lantern Parts", cutoff=time(16), delivers_at=time(9),
          days=1),
    _flow("repair_kinds.add_first", repair_kinds.add_first),
    _flow("repair_kinds.put_kind", repair_kinds.put_kind, name="Tape belt", minutes=40, device_class="radio"),
    _flow("repair_kinds.put_kind", repair_kinds.put_kind, name="Tape belt", minutes=50, new_name="Tape deck belt"),
    _flow("repair_kinds.set_active", repair_kinds.set_active, name_or_id="Tape deck belt", active=False),
    Step("", lambda s: history.read_history(s.house.ctx, s.house.actor(), b"kind,minutes,ended\nTape deck belt,45,"
                                            b"2026-11-02\n")),
    Step("", _spoil_sums),
    _flow("learn.relearn", learn.relearn),
    _flow("history.drop_history", history.drop_history),
    _flow("api_tokens.make_token", api_tokens.make_token, "token", name="books at night", scopes=["tickets:read"]),
    Step("api_tokens.find_caller", _caller),
    _flow("api_tokens.revoke_token", api_tokens.revoke_token, token_id=lambda s: s.made["token"].id),
    _flow("feeds.make_feed", feeds.make_feed, "feed", name="Phone at the counter"),
    _flow("feeds.revoke_feed", feeds.revoke_feed, feed_id=lambda s: s.made["feed"].id),
    _flow("staff.add_staff", staff.add_staff, "odile", name="Odile", role="technician", password="four kind words",
          pin="4711"),
    _flow("staff.change_staff", staff.change_staff, staff_id=_made("odile"), role="counter"),
    _flow("at_bench.set_bench", at_bench.set_bench, staff_id=_made("odile"), repairs=False),
    _flow("at_bench.set_bench", at_bench.set_bench, staff_id=_made("odile"), repairs=True),
    _flow("at_bench.note_away", at_bench.note_away, "away", staff_id=_made("odile"), starts="2026-12-01",
          ends="2026-12-04T12:00"),
    _flow("at_bench.come_back", at_bench.come_back, absence_id=lambda s: s.made["away"].absence_id),
    _flow("at_bench.note_away", at_bench.note_away, staff_id=_made("odile"), starts="2026-12-07", ends="2026-12-08"),
    _flow("at_bench.come_back_on", at_bench.come_back_on, staff_id=_made("odile"), day="2026-12-08"),
    Step("", _old_absence),
    _flow("at_bench.tidy", at_bench.tidy),
    _flow("staff_bell.set_bell", staff_bell.set_bell, staff_id=_made("odile"), email="odile@example.net", by="email"),
    _flow("staff_bell.forget_bell", staff_bell.forget_bell, staff_id=_made("odile")),
    Step("", lambda s: staff.sign_in(s.house.ctx, s.house.shop_id, name="Odile", password="four kind words",
                                     source="here", tries_an_hour=10), "session"),
    Step("", lambda s: s.house.clock.advance(600)),
    Step("staff.who", lambda s: staff.who(s.house.ctx, s.house.shop_id, s.made["session"].secret)),
    Step("staff.sign_out", lambda s: staff.sign_out(s.house.ctx, s.house.shop_id, s.made["session"].secret)),
)  # fmt: skip
WORK_STEPS = (
    Step("check_in.check_in", lambda s: check_in.check_in(s.house.ctx, s.house.actor(), _form()), "visit", True),
    _move("inspecting"),
    _flow("questions.ask", questions.ask, "question", telling=True, ticket_id=_ticket, kind="price", price="45",
          wording="It costs more. Go on?"),
    _flow("questions.answer", questions.answer, telling=True, question_id=_made("question"), answer="accept",
          said_by="Tam, by phone"),
    _flow("questions.take_back", questions.take_back, telling=True, question_id=_made("question")),
    _flow("questions.withdraw", questions.withdraw, question_id=_made("question")),
    _flow("questions.ask", questions.ask, telling=True, ticket_id=_ticket, kind="give_back", wording="Stop here?",
          until=_in(minutes=5)),
    Step("", lambda s: s.house.clock.advance(301)),
    Step("questions.expire_due", lambda s: questions.expire_due(s.house.ctx, s.house.system()), telling=True),
    Step("", _suggestion),
    _flow("bench_order.suggest", bench_order.suggest),  # there is nothing better: the old suggestion ends
    Step("", _suggestion, "order"),
    _flow("bench_order.refuse", bench_order.refuse, order_id=_made("order")),
    Step("", _suggestion, "order"),
    _flow("bench_order.take", bench_order.take, order_id=_made("order")),
    _flow("bench_order.take_next", bench_order.take_next, ticket_id=_ticket),
    _flow("bench_order.undo", bench_order.undo),
    _flow("bench_order.back_to_usual", bench_order.back_to_usual),
    _flow("parts.need", parts.need, "part", ticket_id=_ticket, name="speaker cone", terms=CONE),
    # Nobody orders it, so the promise is in danger and the shop is told.
    Step("", lambda s: s.house.clock.advance(16 * 60)),
    Step("forecast.remake", lambda s: forecast.remake(s.house.ctx, s.house.system()), telling=True),
    _flow("parts.order_together", parts.order_together, telling=True, part_ids=_parts(), supplier="Lantern Parts"),
    _flow("parts.end_order", parts.end_order, part_id=_made("part")),
    _flow("parts.order_together", parts.order_together, telling=True, part_ids=_parts(), supplier="Lantern Parts"),
    _flow("parts.note_line", parts.note_line, part_ids=_parts(), terms=parts.Terms(slip="PS 77", cost="4.50")),
    _flow("parts.change_due_of", parts.change_due_of, part_ids=_parts(), due=_in(minutes=5)),
    Step("", lambda s: s.house.clock.advance(66 * 60)),
    Step("late_parts.ring_late", lambda s: late_parts.ring_late(s.house.ctx, s.house.system()), telling=True),
    _flow("arrivals.arrive_all", arrivals.arrive_all, telling=True, part_ids=_parts()),
    _flow("arrivals.undo_arrival", arrivals.undo_arrival, part_id=_made("part")),
    _flow("earlier.part_came", earlier.part_came, telling=True, part_id=_made("part"), at=_in(seconds=0)),
    _flow("pads.make_pad", pads.make_pad, "pad", tickets=2),
    _flow("pads.make_void", pads.make_void, pad_id=_made("pad")),
    _flow("parts.need", parts.need, "other", ticket_id=lambda s: s.ticket(1), name="cone", terms=CONE),
    _flow("give_part.give_to", give_part.give_to, telling=True, part_id=_made("part"), to_id=_made("other")),
    _flow("another_came.note", another_came.note, part_id=_made("other")),
    _flow("another_came.use_anyway", another_came.use_anyway, telling=True, part_id=_made("other")),
    Step("another_came.ask", lambda s: another_came.ask(
        s.house.ctx, s.house.actor(), s.made["part"], came="silver instead of black",
        words=s.house.services.words.get), "substitute", telling=True),
    _flow("questions.answer", questions.answer, telling=True, question_id=_made("substitute"),
          answer="wait_for_the_other", said_by="Tam"),
    _flow("returns.send_back", returns.send_back, part_ids=_parts()),
    _flow("arrivals.dead_on_arrival", arrivals.dead_on_arrival, "second", part_id=_made("other")),
    _flow("parts.not_needed", parts.not_needed, part_id=_made("second")),
    _flow("parts.not_needed", parts.not_needed, part_id=_still_needed),
    _flow("promises.promise", promises.promise, telling=True, ticket_id=_ticket, at=_in(days=2), why="part_late"),
    _flow("promises.promise", promises.promise, telling=True, ticket_id=_ticket, at=_in(days=3), why="part_late"),
    _flow("desk_notes.add_note", desk_notes.add_note, ticket_id=_ticket, text="sticky dial"),
    _flow("desk_notes.set_place", desk_notes.set_place, ticket_id=_ticket, shelf="B4"),
    _flow("desk_notes.record_money", desk_notes.record_money, ticket_id=_ticket, price_agreed="30", paid=True),
    _flow("desk_notes.set_safety", desk_notes.set_safety, ticket_id=_ticket, flags=("wet",)),
    _flow("desk_notes.replace_claim_link", desk_notes.replace_claim_link, ticket_id=_ticket),
    _flow("desk_notes.replace_after_check", desk_notes.replace_after_check, visit_id=_visit, checked="knew the dent"),
    _flow("contact_codes.send_code", code_flow.send_code, telling=True, visit_id=_visit, purpose="price"),
    _flow("contact_codes.prove", code_flow.prove, visit_id=_visit, purpose="price", typed=_typed_code("price")),
    _flow("contact_codes.send_code", code_flow.send_code, telling=True, visit_id=_visit, purpose="lost_ticket"),
    _flow("lost_ticket.renew", lost_ticket.renew, telling=True, visit_id=_visit, typed=_typed_code("lost_ticket")),
    _from_page("lost_ticket.ask", lost_ticket.ask, typed=_number),
    Step("", lambda s: lost_ticket.answer_asked(s.house.ctx, (s.house.shop_id,))),
    _from_page("lost_ticket.renew_by_number", lost_ticket.renew_by_number, typed=_number,
               code=_typed_code("lost_ticket")),
    _flow("reach.set_use", reach.set_use, visit_id=_visit, person_id=Story.person, channel="sms",
          purposes=("repair",), allowed=False, how="counter"),
    _flow("reach.set_contact", reach.set_contact, visit_id=_visit, person_id=Story.person, channel="email",
          address="ines.farrow@example.com"),
    _flow("reach.set_language", reach.set_language, visit_id=_visit, person_id=Story.person, language="de"),
    _flow("reach.set_visit_language", reach.set_visit_language, visit_id=_visit, language="en"),
    _hear("May my sister collect it?", "r1", "reply", telling=True),
    _flow("replies.mark_seen", replies.mark_seen, reply_id=_made("reply")),
    Step("", _asked_once),
    _flow("listeners.add", listeners.add, "listener", name="Wall clock", address="https://clock.example.org/told",
          inner_hosts=()),
    _flow("listeners.new_key", listeners.new_key, listener_id=_listener),
    Step("", _refuse_event),
    _flow("listeners.offer_again", listeners.offer_again, listener_id=_listener),
    _flow("listeners.drop", listeners.drop, listener_id=_listener),
    Step("", _old_call),
    _flow("take_call.tidy", take_call.tidy),
    Step("source_state.looked", lambda s: source_state.looked(s.house.ctx, s.house.shop_id, "bench")),
    Step("take_changes.take", _tell("J-1", "J-2", "J-3", "J-4"), "doubted"),
    _flow("doubts.leave_ours", doubts.leave_ours, doubt_id=_doubt(0)),
    _flow("doubts.take_theirs", doubts.take_theirs, batch=_LIST, doubt_id=_doubt(1)),
    _flow("doubts.take_in", doubts.take_in, telling=True, batch=_LIST, doubt_id=_doubt(2),
          cells={"device": "Gull e-reader", "email": "tomas@example.org"}),
    _flow("doubts.link", doubts.link, batch=_LIST, doubt_id=_doubt(3), number=_claim_number),
    _flow("take_call.take_calls", take_call.take_call, watch=source_settings(),
          call=Call("msg_1", [Told(Change(1, {"reference": "J-8", "phase": "done"}), "event 1")])),
    _hear("STOP", "r2", telling=True), _hear("START", "r3", telling=True), _hear("HELP", "r4", telling=True),
    _move("in_line"), _move("on_bench"), _move("proving"), _move("on_bench"),
    _move("in_line", reason="other_job", note="a hasty one came"), _move("on_bench"), _move("on_shelf"),
    _flow("moves.undo", moves.undo, ticket_id=_ticket),
    _flow("repair_kinds.set_kind", repair_kinds.set_kind, ticket_id=_ticket, name_or_id="Radio without sound"),
    Step("", lambda s: s.house.clock.advance(600)),
    _move("on_shelf"), _wait(91),
    _flow("repair_kinds.set_kind", repair_kinds.set_kind, ticket_id=_ticket, name_or_id="Tape deck belt"),
)  # fmt: skip
SHELF_STEPS = (
    _flow("reach.set_contact", reach.set_contact, telling=True, visit_id=_visit, person_id=Story.person,
          channel="sms", address="07700 900789"),
    _flow("holds.lift_hold", holds.lift_hold, visit_id=_visit, checked="called the old number, it was her"),
    Step("resend.resend", lambda s: resend.resend(
        s.house.ctx, s.house.actor(), s.message("sent", "ready").id,
        reason="lost", look=s.house.services.dispatcher.look), telling=True),
    _wait(1),
    _flow("pickup.book", pickup.book, telling=True, visit_id=_visit, local=_slot(0), once="book-1"),
    _flow("pickup.book", pickup.book, telling=True, visit_id=_visit, local=_slot(9), once="book-2"),
    _flow("pickup.move", pickup.move, telling=True, visit_id=_visit, local=_slot(12), why="new_times"),
    _flow("set_up.add_special_day", set_up.add_special_day, "shut", day=_day_of_pickup),
    _flow("hits.let_stand", hits.let_stand, booking_id=lambda s: _booking(s).id),
    _flow("set_up.drop_special_day", set_up.drop_special_day, special_id=_made("shut")),
    _mail_of_tam(TAM), _wait(1),
    _calendar(Partstat.ACCEPTED, "c1"),
    _calendar(Partstat.NEEDS_ACTION, "c2", method="REFRESH", telling=True),
    _wait(1),
    _calendar(Partstat.TENTATIVE, "c3", method="COUNTER", telling=True), _settle(Choice.NO, telling=True), _wait(1),
    _calendar(Partstat.TENTATIVE, "c4", method="COUNTER", telling=True), _settle(Choice.TAKE, telling=True), _wait(1),
    _calendar(Partstat.DELEGATED, "c5", telling=True), _settle(Choice.SEEN),
    _calendar(Partstat.DECLINED, "c6", telling=True), _mail_of_tam(""),
    _flow("pickup.book", pickup.book, telling=True, visit_id=_visit, local=_slot(9), once="book-3"),
    _move("in_line", reason="fault_seen_again"),
    _flow("moves.undo", moves.undo, ticket_id=_ticket),
    _flow("pickup.cancel", pickup.cancel, telling=True, visit_id=_visit),
    _flow("pickup.book", pickup.book, telling=True, visit_id=_visit, local=_slot(20)),
    Step("", lambda s: s.house.clock.advance(4 * 3600)),
    Step("reminders.remind_due", lambda s: reminders.remind_due(s.house.ctx, s.house.system()), telling=True),
    _wait(30 * 3600),
    _flow("contact_codes.tidy", code_flow.tidy),
    Step("score_promises.settle_due", lambda s: score_promises.settle_due(s.house.ctx, s.house.system())),
    Step("reminders.note_missed", lambda s: reminders.note_missed(s.house.ctx, s.house.system())),
    _wait(3 * 86400),
    Step("reminders.remind_collection", lambda s: reminders.remind_collection(s.house.ctx, s.house.system()),
         telling=True),
    _flow("passes.give", passes.give, "given", visit_id=_visit, name="Ned Quay"),
    _flow("passes.revoke", passes.revoke, visit_id=_visit, pass_id=lambda s: s.made["given"].pass_id),
    _flow("passes.keep_asked", passes.keep_asked, visit_id=_visit, name="Ned Quay", until=_in(hours=1)),
    Step("", lambda s: passes.ask(s.house.ctx, s.house.customer(), _visit(s), name="Ned Quay")),
    _flow("passes.confirm", passes.confirm, "given", visit_id=_visit, typed=_code),
    Step("desk_secret.try_secret", _wrong_pass),
    _flow("handover.hand_back", handover.hand_back, telling=True, ticket_ids=lambda s: [s.ticket()],
          pass_code=lambda s: s.made["given"].code, checked="the name on a card"),
    _flow("handover.undo_handover", handover.undo_handover, ticket_id=_ticket, reason="wrong_person"),
    _flow("passes.give", passes.give, visit_id=_visit, name="Ned Quay"),
    Step("", lambda s: s.house.clock.advance(15 * 86400)),
    Step("passes.expire_due", lambda s: passes.expire_due(s.house.ctx, s.house.system())),
    _flow("handover.hand_back", handover.hand_back, telling=True, ticket_ids=lambda s: [s.ticket()], token=_token,
          checked="showed the stub", collector=_jo),
    _flow("handover.undo_handover", handover.undo_handover, ticket_id=_ticket, reason="wrong_device"),
    Step("", lambda s: reach.set_contact(s.house.ctx, s.house.actor(), s.made["visit"].visit_id, s.made["told"],
                                         channel="sms", address="")),
    _move("on_shelf", 1, reason="not_repairable"), _wait(91),
    _first_call("nobody_there"), _first_call("told"),
    *(
        _flow("uncollected.log_step", uncollected.log_step, ticket_id=_ticket, step=step)
        for step in ("answered", "no_data", "cautions_read", "money_noted")
    ),
    _flow("uncollected.set_rule", uncollected.set_rule, code="germany",
          form=uncollected.RuleForm(checked_on=date(2026, 11, 20), verified=True, active=True)),
    _flow("reach.set_child", reach.set_child, visit_id=_visit, person_id=lambda s: s.made["told"], child=True),
    _flow("suppressions.add", suppressions.add, channel="sms", address="07700 900777"),
    _flow("suppressions.end", suppressions.end, channel="sms", address="07700 900777", wanted=True),
    _move("left_behind", reason="customer_gave_it_up", note="They said so on the phone.", anyway=True),
)  # fmt: skip


def _agreed(story: Story) -> Use:
    return Use(story.made["told"], "sms", "afterwards")


def _stop_by_link(story: Story) -> Any:
    use = _agreed(story)
    reader = stop_by_link.find(story.house.ctx, use)
    assert reader is not None
    return stop_by_link.stop(story.house.ctx, reader, use)


def _mailed(story: Story) -> None:
    reach.set_contact(story.house.ctx, story.house.actor(), story.made["visit"].visit_id, story.made["told"],
                      channel="email", address="noor@example.org", purposes=("repair",))  # fmt: skip


# Days later: whoever agreed is asked, and stops it.
AFTER_STEPS = (
    Step("", lambda s: set_up.change_settings(s.house.ctx, s.house.actor(), {"all_well_days": 5})),
    Step("check_in.check_in", lambda s: check_in.check_in(s.house.ctx, s.house.actor(), VisitForm(
        bringer=PersonForm("Noor Vale", "07700 900789", phone_purposes=("repair", "pickup", "afterwards")),
        devices=(DeviceForm("Fenlight reader"),))), "visit", True),
    _move("inspecting"), _move("in_line"), _move("on_bench"), _move("on_shelf"), _wait(91),
    _flow("handover.hand_back", handover.hand_back, telling=True, ticket_ids=lambda s: [s.ticket()], token=_token),
    _wait(5 * 86400 + 3600),
    Step("ask_after.ask_due", lambda s: ask_after.ask_due(s.house.ctx, s.house.system()), telling=True),
    Step("stop_by_link.stop", _stop_by_link),
    _flow("once.forget_keys", once.forget_keys),
    Step("", _mailed), Step("", lambda s: s.house.clock.advance(80 * 86400)),
    Step("", lambda s: s.house.clock.advance((33 - s.house.clock().hour) % 24 * 3600)),  # by day only
    Step("tell_before.tell_due", lambda s: tell_before.tell_due(s.house.ctx, s.house.system()), telling=True),
)  # fmt: skip


def _asked(story: Story) -> str:
    return str(story.made["asked"].id)


def _ask(kind: str, **more: Any) -> Step:
    return _flow("requests.ask", requests.ask, "asked", telling=True, visit_id=_visit, person_id=lambda s: s.person(),
                 kind=kind, how="counter", note="my name is Noor", **more)  # fmt: skip


def _wants_out(story: Story) -> str:
    heard = Heard("sms", "+447700900789", "Please delete all my data", story.house.clock(), "out", "gateway")
    return hear_reply.hear(story.house.ctx, story.house.shop_id, heard)


# What somebody asks by law about their own data.
REQUEST_STEPS = (
    _flow("requests.take_copy", requests.take_copy, visit_id=_visit, contact_id=""),
    _ask("correction"),
    _flow("requests.prove", requests.prove, request_id=_asked, made_sure="showed a passport"),
    _flow("requests.export", requests.export, request_id=_asked),
    _flow("requests.extend", requests.extend, telling=True, request_id=_asked, note="three boxes of paper"),
    _flow("requests.finish", requests.finish, telling=True, request_id=_asked, name="Noor Wale", note="changed"),
    _ask("objection"),
    _flow("requests.refuse", requests.refuse, telling=True, request_id=_asked, reason="unfounded", note="no ground"),
    _ask("restriction", made_sure="showed a passport"),
    _flow("requests.finish", requests.finish, telling=True, request_id=_asked),
    _flow("granted.lift", granted.lift, telling=True, request_id=_asked),
    _flow("granted.lift", granted.lift, request_id=_asked, told="on the phone, and they agreed"),
    _ask("objection", made_sure="showed a passport"),
    _flow("requests.finish", requests.finish, telling=True, request_id=_asked),
    _ask("erasure"),
    _flow("requests.withdraw", requests.withdraw, telling=True, request_id=_asked),
    _ask("restriction", made_sure="showed a passport"), _wait(26 * 86400),
    Step("requests_due.ring_due", lambda s: requests_due.ring_due(s.house.ctx, s.house.system()), telling=True),
    Step("requests_due.end_requests", lambda s: requests_due.end_requests(s.house.ctx, s.house.system(), s.person())),
    Step("", _wants_out, "letter"),
    _flow("requests.from_reply", requests.from_reply, reply_id=lambda s: s.made["letter"]),
)  # fmt: skip
# How long data are kept, and what keeps them longer; and that the clock is right.
KEEP_STEPS = (
    Step("watch_clock.look", lambda s: watch_clock.look(s.house.ctx, ran=None)),
    _wait(60),
    _flow("watch_clock.vouch", watch_clock.vouch),
    _flow("keep_rules.change_rule", keep_rules.change_rule, data_class="contact_card", period="P60D"),
    _flow("data_holds.set_hold", data_holds.set_hold, "hold", visit_id=_visit, reason="dispute", note="a dial sticks"),
    _flow("data_holds.review_hold", data_holds.review_hold, hold_id=_made("hold")), _wait(91 * 86400),
    Step("", lambda s: s.house.clock.advance((33 - s.house.clock().hour) % 24 * 3600)),  # nobody is rung at night
    Step("data_holds.ring_due", lambda s: data_holds.ring_due(s.house.ctx, s.house.system()), telling=True),
    _flow("data_holds.end_hold", data_holds.end_hold, hold_id=_made("hold")),
)  # fmt: skip
# Who looks at an address in clear: a first look is a row, another one soon after is counted in it.
LOOK_STEPS = tuple(
    _flow("contact_reads.note", contact_reads.note, place="calls", seen=lambda s: [(s.person(), None)])
    for _ in range(2)
)
STEPS = (*SHOP_STEPS, *WORK_STEPS, *SHELF_STEPS, *AFTER_STEPS, *REQUEST_STEPS, *KEEP_STEPS, *LOOK_STEPS)
