"""Every message goes to its own person, says only what is so, and comes to an end."""

from __future__ import annotations

import email
import random
import re
from collections import Counter, defaultdict
from datetime import UTC, datetime, timedelta
from email import policy
from email.utils import getaddresses
from typing import Any

import pytest

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.core.claim_number import show_number
from notify.core.errors import NotifyError
from notify.core.messages import ENDED, MessageState
from notify.core.tickets import moves_from
from notify.flows import forget, handover, moves, pickup, questions, reach
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, messages, tickets
from notify.store import questions as question_rows
from tests.flows.conftest import Lines, words
from tests.parts.shelved import token_of

NUMBER = re.compile(r"\b[A-Z0-9]{3}-[A-Z0-9]{4}\b")
LINK = re.compile(r"https://bell\.example\.org/c/([a-z0-9]+)")
GUEST = re.compile(r"Guest(\d+)x")
SET = re.compile(r"set (\d+)y")


def meddle(lines: Lines, n: int, visit_id: str, person_id: str) -> str:
    """What happens to some people between the queue and the sending; the address that is right then."""
    ctx, owner = lines.house.ctx, lines.house.actor()
    if n % 10 == 0:
        reach.set_use(ctx, lines.house.customer(), visit_id, person_id, channel="email",
                      purposes=("repair",), allowed=False, how="claim_page")  # fmt: skip
        return ""
    if n % 10 == 1:
        reach.set_contact(ctx, owner, visit_id, person_id, channel="email", address=f"new{n}@example.net")
        return f"new{n}@example.net"
    if n % 50 == 2:
        forget.erase_person(ctx, owner, person_id)
        return ""
    return f"c{n}@example.org"


@pytest.mark.long
def test_of_a_thousand_tickets_each_message_reaches_its_own_person_about_its_own_device(lines: Lines) -> None:
    house = lines.house
    count = 100 if house.ctx.db.is_sqlite else 1000
    right: dict[str, tuple[int, str, str, str]] = {}
    for n in range(count):
        done = house.check_in(DeviceForm(f"set {n}y"), name=f"Guest{n}x", phone="", email=f"c{n}@example.org")
        with house.read() as unit:
            ticket = tickets.get_ticket(unit, done.ticket_ids[0])
            (row,) = messages.messages_of_visit(unit, done.visit_id)
        address = meddle(lines, n, done.visit_id, ticket.person_id)
        right[row.id] = (n, address, show_number(ticket.number), ticket.token)
    house.deliver(after=91)
    wrong = foreign = after_stop = 0
    for sent in lines.mail.sent:
        n, address, number, token = right[sent.message_id.strip("<").split(".")[0]]
        whole = email.message_from_bytes(sent.payload, policy=policy.default)
        headed = [a for _, a in getaddresses(whole.get_all("to", []) + whole.get_all("cc", []))]
        wrong += not (headed == [sent.to] == [address])
        said = words(sent) + str(whole["subject"])
        foreign += set(NUMBER.findall(said)) != {number} or set(LINK.findall(said)) != {token}
        foreign += not set(GUEST.findall(said)) <= {str(n)} or set(SET.findall(said)) != {str(n)}
        after_stop += address == ""
    wanted = sum(1 for _, address, _, _ in right.values() if address)
    print(f"FIGURE A7_right_person database={house.ctx.db.engine.dialect.name} messages={count} "
          f"sent={len(lines.mail.sent)} wrong_recipient={wrong} foreign_reference={foreign} "
          f"sent_after_withdrawal={after_stop}")  # fmt: skip
    assert wrong == foreign == after_stop == 0 and len(lines.mail.sent) == wanted < count


def still_so(notice: str, phases: list[str], question: str, booking: str) -> bool:
    """From the meaning of the words, without looking at the rule: may this be said of devices in these phases?"""
    here = [p for p in phases if p not in ("handed_back", "left_behind")]
    if notice in ("ready", "collection_reminder"):
        return "on_shelf" in phases
    if notice == "handed_back":
        return "handed_back" in phases
    if notice == "question":
        return question == "open"
    if notice in ("pickup_confirmed", "pickup_moved", "pickup_reminder"):
        return booking == "booked"
    if notice in ("checked_in", "called_back"):
        return bool(here)
    return True


class Watcher:
    """Answers for a line that is often down, and looks at the world in the moment of each acceptance."""

    def __init__(self, lines: Lines, chance: random.Random) -> None:
        self.lines, self.chance = lines, chance
        self.stale: list[str] = []
        self.order: dict[tuple[str, str, str], list[int]] = defaultdict(list)

    def __call__(self, outgoing: Outgoing) -> Receipt:
        if self.chance.random() < 0.5:
            return Receipt(Verdict.TRY_LATER, "connect", "down")
        with self.lines.house.read() as unit:
            row = messages.get_message(unit, outgoing.message_id.strip("<").split(".")[0])
            assert row is not None
            asked = row.refs.get("question")
            booked = bookings.get_booking(unit, str(row.refs.get("booking", "")))
            phases = tickets.phases_of_visit(unit, row.visit_id)
            kind, _, thing = row.about.partition(":")
            about = [phases[thing]] if kind == "ticket" else list(phases.values())
            state = question_rows.get_question(unit, str(asked)).state if asked else ""
        if row.person_id:
            if not still_so(row.notice, [str(p) for p in about], state, booked.state if booked else ""):
                self.stale.append(row.notice)
            self.order[row.visit_id, row.person_id, row.channel].append(row.seq)
        return Receipt(Verdict.ACCEPTED, "kept")


def wander(lines: Lines, visit: Any, chance: random.Random, *, undo: float = 1.0) -> None:
    """One thing that a busy day may bring to a visit; what the rules refuse is refused. `undo` is how often that is."""
    house = lines.house
    ticket_id = chance.choice(visit.ticket_ids)
    with house.read() as unit:
        ticket = tickets.get_ticket(unit, ticket_id)
        booked = bookings.live_booking(unit, visit.visit_id)
    try:
        what = chance.random()
        if what < 0.5 and ticket.phase != "on_shelf":
            step = chance.choice(moves_from(ticket.phase))
            moves.move(house.ctx, house.actor(), ticket_id, step.target, outcome=step.outcome or "", anyway=True,
                       note="go on", reason=step.reasons[0] if step.reasons else "")  # fmt: skip
        elif what < 0.6 and chance.random() < undo:
            moves.undo(house.ctx, house.actor(), ticket_id, reason="slipped")
        elif what < 0.7:
            questions.ask(house.ctx, house.actor(), ticket_id, kind="price", wording="Go on?", price="45")
        elif what < 0.8:
            handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token_of(house, ticket_id))
        elif what < 0.9 and booked:
            pickup.cancel(house.ctx, house.customer(), visit.visit_id)
        elif offered := pickup.offers(house.ctx, house.customer(), visit.visit_id):
            pickup.book(house.ctx, house.customer(), visit.visit_id, chance.choice(offered).slot.local)
    except NotifyError:
        return


@pytest.mark.long
def test_wandering_tickets_on_bad_lines_never_say_what_is_not_so_and_end_with_a_reason(lines: Lines) -> None:
    house, chance = lines.house, random.Random(20261125)
    watcher = Watcher(lines, chance)
    lines.mail_line.answer = lines.text_line.answer = watcher
    visits = [house.check_in(DeviceForm("one"), DeviceForm("two")) for _ in range(12 if house.ctx.db.is_sqlite else 6)]
    for _ in range(50):
        for visit in visits:
            if chance.random() < 0.6:
                wander(lines, visit, chance)
            house.clock.advance(chance.choice((1, 5, 20, 90)))
        if chance.random() < 0.35:
            house.deliver()
    for _ in range(40):  # the bench rests: everything that waits comes to its end
        house.deliver(after=12 * 3600)
        questions.expire_due(house.ctx, house.system())
        house.services.dispatcher.end_stale_calls(house.shop_id)
    with house.read() as unit:
        rows = messages.list_messages(unit, limit=5000)
    out_of_order = sum(1 for told in watcher.order.values() if told != sorted(told))
    need_reason = (MessageState.DROPPED, MessageState.SKIPPED, MessageState.GIVEN_UP)
    silent = sum(1 for m in rows if m.state not in ENDED or (m.state in need_reason and not m.reason))
    states = Counter(str(m.state) for m in rows)
    print(f"FIGURE A8_stale database={house.ctx.db.engine.dialect.name} messages={len(rows)} sent={states['sent']} "
          f"dropped={states['dropped']} stale_sent={len(watcher.stale)} out_of_order={out_of_order}")  # fmt: skip
    print(f"FIGURE A11_ends database={house.ctx.db.engine.dialect.name} messages={len(rows)} silent={silent}")
    assert not watcher.stale and out_of_order == 0 and silent == 0, watcher.stale
    assert states["sent"] > 20 and states["dropped"] > 5


class Sleeper(Watcher):
    """Also notes who was written to while people sleep, and whether anything was said that had been said already."""

    def __init__(self, lines: Lines, chance: random.Random) -> None:
        super().__init__(lines, chance)
        self.woken: list[str] = []
        self.twice: list[str] = []
        self._said: dict[tuple[str, str, str], tuple[str, str]] = {}

    def __call__(self, outgoing: Outgoing) -> Receipt:
        receipt = super().__call__(outgoing)
        with self.lines.house.read() as unit:
            row = messages.get_message(unit, outgoing.message_id.strip("<").split(".")[0])
        assert row is not None
        if receipt.verdict is not Verdict.ACCEPTED or not row.person_id:
            return receipt
        now = self.lines.house.clock()
        asleep = not 8 <= now.hour < 21  # London in winter is UTC
        answered = (
            row.notice in ("pickup_confirmed", "pickup_moved", "pickup_cancelled") and row.refs["by"] == "customer"
        )
        if asleep and not (answered and now - row.created_at <= timedelta(hours=1)):
            self.woken.append(row.notice)
        elif asleep:  # an answer by night goes before what waits for the morning; the rest keeps its order
            self.order[row.visit_id, row.person_id, row.channel].remove(row.seq)
        key, said = (row.about, row.person_id, row.notice), words(outgoing).split("http")[0]
        if row.notice in ("ready", "promise_changed") and self._said.get(key) == (said, f"{now:%d}"):
            self.twice.append(row.notice)
        self._said[key] = (said, f"{now:%d}")
        return receipt


def told_by_morning(lines: Lines, visit: Any, seen: int) -> Counter[str]:
    """What a visit's people read of each kind since the `seen` first rows of the outbox."""
    return Counter(m.notice for m in lines.rows(visit.visit_id)[seen:] if m.person_id and m.state == MessageState.SENT)


@pytest.mark.long
def test_many_nights_of_changes_wake_nobody_and_each_morning_tells_only_how_things_stand(lines: Lines) -> None:
    house, chance = lines.house, random.Random(20261126)
    sleeper = Sleeper(lines, chance)
    lines.mail_line.answer = lines.text_line.answer = sleeper
    house.clock.set(datetime(2026, 11, 9, 20, 30, tzinfo=UTC))
    visits = [house.check_in(DeviceForm("one"), DeviceForm("two")) for _ in range(8 if house.ctx.db.is_sqlite else 5)]
    crowded = mornings = 0
    for night in range(6):
        house.clock.set(datetime(2026, 11, 9 + night, 21, 30, tzinfo=UTC))
        before = {visit.visit_id: len(lines.rows(visit.visit_id)) for visit in visits}
        for _ in range(10):
            for visit in visits:
                wander(lines, visit, chance, undo=0.1)
            house.deliver(after=chance.choice((60, 600, 3600)))
        house.clock.set(max(house.clock(), datetime(2026, 11, 10 + night, 8, tzinfo=UTC)))
        for _ in range(30):
            house.deliver(after=240)
        for visit in visits:
            told = told_by_morning(lines, visit, before[visit.visit_id])
            mornings += 1
            # Questions and called-back devices are each about a device of their own.
            crowded += any(count > 1 for notice, count in told.items() if notice in ("ready", "checked_in"))
    with house.read() as unit:
        rows = messages.list_messages(unit, limit=5000)
    sent = sum(1 for m in rows if m.state == MessageState.SENT and m.person_id)
    needless = Counter(m.reason for m in rows if m.state == MessageState.DROPPED)
    out_of_order = sum(1 for told in sleeper.order.values() if told != sorted(told))
    database = house.ctx.db.engine.dialect.name
    print(f"FIGURE A8_nights database={database} mornings={mornings} messages={len(rows)} sent={sent} "
          f"stale_sent={len(sleeper.stale)} out_of_order={out_of_order} woken={len(sleeper.woken)} "
          f"said_twice={len(sleeper.twice)} crowded={crowded} needless={sum(needless.values())}")  # fmt: skip
    assert not sleeper.stale and not sleeper.woken and not sleeper.twice, (sleeper.stale, sleeper.woken, sleeper.twice)
    assert out_of_order == crowded == 0 and sent > 30
    assert needless["overtaken"] + needless["joined_to_newer"] > 5 and needless["no_longer_on_shelf"], needless
