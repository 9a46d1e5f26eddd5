"""Changes that a source tells: each is taken once, and what cannot be taken waits for a person."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from notify.core.actors import Actor
from notify.core.errors import NotFound
from notify.core.sources import Batch, Change, Doubt, Taken
from notify.core.tickets import Phase
from notify.flows import doubts as decide
from notify.flows import forget, moves, take_changes
from notify.flows.check_in_form import DeviceForm
from notify.store import doubts, events, messages, parts, schema, sources, tickets
from tests.parts.house import House

pytestmark = pytest.mark.long  # many short ones; the rule itself is in tests/core/test_source_order
WORDS = {"came in": "taken_in", "in line": "in_line", "on the bench": "on_bench", "done": "repaired",
         "no luck": "unrepaired", "fetched": "handed_back", "gone": "left_behind"}  # fmt: skip
PARTS = {"wanted": "needed", "on its way": "ordered", "in the box": "arrived"}


def batch(house: House, **more: Any) -> Batch:
    """What the bench list tells, last looked at a minute ago."""
    seen = house.clock() - timedelta(minutes=1)
    return replace(Batch("bench", "tickets", "Europe/London", WORDS, PARTS, seen_before=seen), **more)


def tell(house: House, *rows: dict[str, str], **more: Any) -> Taken:
    changes = [Change(n, row) for n, row in enumerate(rows, start=2)]
    return take_changes.take(house.ctx, Actor(house.shop_id, "source", "bench"), batch(house), changes, **more)


def row(reference: str, phase: str, **more: str) -> dict[str, str]:
    return {"reference": reference, "phase": phase, **more}


def phase_of(house: House, number: str) -> Phase:
    with house.read() as unit:
        return tickets.find_by_number(unit, number).phase


def waiting(house: House) -> tuple[Any, ...]:
    with house.read() as unit:
        return doubts.list_open(unit)


def test_a_row_moves_a_ticket_and_the_same_row_again_changes_nothing(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    assert tell(house, row(number, "on the bench")).taken == (2,)
    assert phase_of(house, number) is Phase.ON_BENCH
    again = tell(house, row(number, "On The Bench "), row(number, "on the bench"))
    assert (again.taken, again.doubted, again.unchanged) == ((), (), (2, 3))
    with house.read() as unit:
        state, ticket = sources.state(unit, "bench"), tickets.find_by_number(unit, number)
        story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    assert (state.taken, state.doubted) == (1, 0)
    assert [e.kind for e in story if e.actor_kind == "source"] == ["work_agreed", "bench_began"]


def test_an_unknown_device_is_taken_in_once_and_its_owner_is_told(house: House) -> None:
    told = row("J-77", "done", device="Gull e-reader", name="Tomas Reed", email="tomas@example.org")
    assert tell(house, told).taken == (2,)
    assert tell(house, told | {"phase": "done"}).unchanged == (2,)
    with house.read() as unit:
        (ticket,) = tickets.tickets_in(unit, [Phase.ON_SHELF])
        assert {m.notice for m in messages.messages_of_visit(unit, ticket.visit_id)} == {"checked_in", "ready"}
    house.clock.advance(60)
    assert tell(house, told | {"name": "Tomas Reed-Okoro", "phase": "in line"}).taken == (2,)
    with house.read() as unit:
        assert len(tickets.tickets_in(unit, list(Phase))) == 1


@pytest.mark.parametrize(("told", "kind"), [
    ({"phase": "lost at sea"}, Doubt.UNKNOWN_WORD),
    ({"phase": "fetched"}, Doubt.IMPOSSIBLE_MOVE),
    ({"phase": "gone"}, Doubt.NEEDS_A_PERSON),
    ({"reference": "J-2"}, Doubt.UNKNOWN_TICKET),
    ({"reference": ""}, Doubt.UNREADABLE),
    ({"reference": "J-3", "device": "Radio", "email": "no address"}, Doubt.UNREADABLE),
    ({"changed_at": "soon"}, Doubt.UNREADABLE),
    ({"changed_at": "2027-01-01T09:00"}, Doubt.UNREADABLE),
    ({"price": "a lot"}, Doubt.UNREADABLE),
    ({"part": "Case", "part_state": "in the box"}, Doubt.UNKNOWN_PART),
])  # fmt: skip
def test_what_cannot_be_taken_waits_for_a_person_and_the_others_are_taken(
    house: House, told: dict[str, str], kind: Doubt
) -> None:
    one, other = house.check_in(DeviceForm("Radio"), DeviceForm("Camera")).numbers
    house.clock.advance(60)
    done = tell(house, row(one, "done") | told, row(other, "done"))
    assert done.taken == (3,) and [(line, what) for line, what, _ in done.doubted] == [(2, kind)]
    (doubt,) = waiting(house)
    assert (doubt.cells["phase"], doubt.kind) == (told.get("phase", "done"), kind)
    assert phase_of(house, one) is Phase.TAKEN_IN and phase_of(house, other) is Phase.ON_SHELF
    assert tell(house, row(one, "done") | told).doubted == ()  # told once only
    assert len(waiting(house)) == 1


def test_a_newer_row_overtakes_an_open_doubt_and_is_taken(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    tell(house, row(number, "lost at sea", version="4"))
    assert tell(house, row(number, "in line", version="3")).stale == (2,)
    assert tell(house, row(number, "done", version="5")).taken == (2,)
    assert waiting(house) == () and phase_of(house, number) is Phase.ON_SHELF


def test_a_row_older_by_version_or_time_is_counted_and_changes_nothing(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(7200)
    tell(house, row(number, "on the bench", version="10", changed_at="2026-11-25T09:00"))
    assert tell(house, row(number, "in line", version="9")).stale == (2,)
    assert phase_of(house, number) is Phase.ON_BENCH
    with house.read() as unit:
        assert sources.state(unit, "bench").stale == 1


def test_what_staff_did_later_stands_until_a_person_decides(house: House) -> None:
    visit = house.check_in()
    house.clock.advance(600)
    before = (house.clock() - timedelta(minutes=5)).isoformat()
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "in_line")
    done = tell(house, row(visit.numbers[0], "done", changed_at=before))
    assert done.doubted[0][1] is Doubt.STAFF_SAID_OTHERWISE and phase_of(house, visit.numbers[0]) is Phase.IN_LINE
    (doubt,) = waiting(house)
    house.clock.advance(600)
    assert tell(house, row(visit.numbers[0], "done", changed_at=before)).doubted == ()
    said = decide.take_theirs(house.ctx, house.actor(), batch(house), doubt.id)
    assert said.settled and phase_of(house, visit.numbers[0]) is Phase.ON_SHELF and waiting(house) == ()


# What the source says, after it had said "in line" of a ticket that then went there.
SAYS = {"the same": "in line", "forwards": "done", "backwards": "back in line"}
TIMES = {"before": -5, "after": 5, "none": None}  # minutes around what staff did


@pytest.mark.parametrize("staff", [True, False], ids=["staff moved it", "nobody moved it"])
def test_no_word_of_a_source_overrides_what_staff_did_later(house: House, staff: bool) -> None:
    """Expected of the rule's own sentence: an old word changes nothing; a new one counts only if it is later."""
    wrong = []
    numbers = house.check_in(*(DeviceForm(f"Radio {n}") for n in range(18))).numbers
    house.clock.advance(60)
    tell(house, *(row(number, "in line") for number in numbers))
    house.clock.advance(1200)
    done_at = house.clock()
    with house.read() as unit:
        ids = [tickets.find_by_number(unit, number).id for number in numbers]
    for ticket_id in ids if staff else ():
        moves.move(house.ctx, house.actor(), ticket_id, "on_bench")
    house.clock.advance(1200)
    cases = [(says, time, seen) for says in SAYS for time in TIMES for seen in (-1, 1)]
    for number, (says, time, seen) in zip(numbers, cases, strict=True):
        at = TIMES[time]
        told = {} if at is None else {"changed_at": (done_at + timedelta(minutes=at)).isoformat()}
        looked = batch(house, phase_words=WORDS | {"back in line": "in_line"},
                       seen_before=done_at + timedelta(minutes=seen))  # fmt: skip
        change = Change(1, row(number, SAYS[says], version="", fault="hums", **told))
        taken = take_changes.take(house.ctx, Actor(house.shop_id, "source", "bench"), looked, [change])
        before = Phase.ON_BENCH if staff else Phase.IN_LINE
        later = staff and (time == "before" or (time == "none" and seen < 0))
        counts = says != "the same" and not later
        target = Phase.ON_SHELF if says == "forwards" else Phase.IN_LINE
        expected = (target if counts else before, later and says != "the same")
        found = (phase_of(house, number), [kind for _, kind, _ in taken.doubted] == [Doubt.STAFF_SAID_OTHERWISE])
        wrong += [(says, time, seen, found)] if found != expected else []
    print(f"FIGURE source_never_overrides database={house.ctx.db.engine.dialect.name} staff={int(staff)} "
          f"cases={len(cases)} wrong={len(wrong)}")  # fmt: skip
    assert not wrong


def test_what_was_left_stays_left_until_the_source_says_another_word(house: House) -> None:
    visit = house.check_in()
    house.clock.advance(600)
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "in_line")
    told = row(visit.numbers[0], "done", changed_at=(house.clock() - timedelta(minutes=5)).isoformat())
    tell(house, told)
    decide.leave_ours(house.ctx, house.actor(), waiting(house)[0].id)
    assert tell(house, told).unchanged == (2,) and waiting(house) == ()
    house.clock.advance(600)
    assert tell(house, row(visit.numbers[0], "done", fault="hums")).doubted == ()  # only its old word again
    assert tell(house, row(visit.numbers[0], "no luck")).taken == (2,)


def test_a_word_that_somebody_explains_settles_every_doubt_about_it(house: House) -> None:
    numbers = house.check_in(*(DeviceForm(f"Radio {n}") for n in range(3))).numbers
    house.clock.advance(60)
    tell(house, *(row(number, "Lost at sea") for number in numbers[:2]), row(numbers[2], "else"))
    said = decide.mean(house.ctx, house.actor(), batch(house), "lost at SEA", "unrepaired")
    assert said.others == 2
    assert [phase_of(house, number) for number in numbers[:2]] == [Phase.ON_SHELF] * 2
    assert [one.cells["phase"] for one in waiting(house)] == ["else"]


def test_a_reference_that_somebody_links_is_known_from_then_on(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    tell(house, row("J-5", "in line"))
    assert decide.link(house.ctx, house.actor(), batch(house), waiting(house)[0].id, number).settled
    assert phase_of(house, number) is Phase.IN_LINE
    house.clock.advance(60)
    assert tell(house, row("J-5", "done")).taken == (2,)
    assert phase_of(house, number) is Phase.ON_SHELF


def test_a_device_that_somebody_takes_in_bears_what_the_source_says(house: House) -> None:
    tell(house, row("J-6", "done", name="Tomas Reed", email="nothing sensible"))
    said = decide.take_in(house.ctx, house.actor(), batch(house), waiting(house)[0].id,
                          {"device": "Gull e-reader", "email": "tomas@example.org"})  # fmt: skip
    assert said.settled
    with house.read() as unit:
        (ticket,) = tickets.tickets_in(unit, [Phase.ON_SHELF])
    assert ticket.device == "Gull e-reader"


def test_a_price_is_noted_while_none_is_agreed_and_a_part_as_often_as_it_is_new(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    told = row(number, "in line", price="40", part="Green case", part_state="wanted")
    assert tell(house, told).taken == (2,)
    assert tell(house, told | {"price": "55"}).unchanged == (2,)
    with house.read() as unit:
        ticket = tickets.find_by_number(unit, number)
        assert ticket.price_agreed == 4000 and [p.name for p in parts.parts_of(unit, ticket.id)] == ["Green case"]


def test_a_trial_says_in_words_what_would_change_and_changes_nothing(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    done = tell(house, row(number, "done"), row("J-8", "came in", device="Radio"), dry_run=True)
    assert done.taken == (2, 3)
    assert "goes from taken in to on shelf, repaired" in done.would[0][1] and "is taken in" in done.would[1][1]
    assert phase_of(house, number) is Phase.TAKEN_IN and waiting(house) == ()
    with house.read() as unit:
        assert sources.state(unit, "bench").taken == 0


def test_what_sources_told_of_strangers_is_erased_after_its_time(house: House) -> None:
    tell(house, row("J-9", "in line", name="Tomas Reed"))
    doubt = waiting(house)[0]
    house.clock.advance(13 * 86400)
    assert decide.forget_strangers(house.ctx, house.system(), keep_days={"bench": 14}) == 0
    house.clock.advance(2 * 86400)
    assert decide.forget_strangers(house.ctx, house.system(), keep_days={"bench": 14}) == 1
    with house.read() as unit, pytest.raises(NotFound):
        doubts.get(unit, doubt.id)


def test_nobody_decides_any_more_about_somebody_who_was_forgotten(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    tell(house, row(number, "lost at sea", name="Ines Farrow"))
    (doubt,) = waiting(house)
    with house.read() as unit:
        person = tickets.find_by_number(unit, number).person_id
    forget.erase_person(house.ctx, house.actor(), person, prove=False)
    with house.read() as unit:
        gone = doubts.get(unit, doubt.id)
        kept = unit.connection.execute(select(schema.doubts.c.cells_sealed)).scalars().all()
    assert (gone.state, gone.settled_how, gone.cells, kept) == ("settled", "forgotten", {}, [None])


def test_what_is_remembered_of_a_row_cannot_be_guessed_from_whom_it_names(house: House) -> None:
    cells = row("Tam Okoro", "came in", device="radio", name="Tam Okoro", phone="07700 900456")
    waits = row("Bea Lunt", "no such word", device="camera", name="Bea Lunt")
    assert len(tell(house, cells, waits).taken) == 1 and len(waiting(house)) == 1
    # A hash without a key is guessed by hashing again what may have been told; SHA-256 is FIPS 180-4.
    plain = {hashlib.sha256(repr(sorted(one.items())).encode()).hexdigest() for one in (cells, waits)}
    plain |= {hashlib.sha256(one["reference"].encode()).hexdigest() for one in (cells, waits)}
    with house.read() as unit:
        kept = [column for table in (schema.taken_rows, schema.doubts) for found in
                unit.connection.execute(select(table.c.row_key, table.c.digest)) for column in found]  # fmt: skip
    assert len(kept) == 4 and all(len(one) == 64 for one in kept)
    assert not plain & set(kept)


def test_what_waits_stays_for_a_day_even_where_nothing_of_the_source_is_kept(house: House) -> None:
    assert len(tell(house, row("job 12", "no such word", device="radio")).doubted) == 1
    house.clock.advance(3600)
    assert decide.forget_strangers(house.ctx, house.system(), keep_days={"bench": 0}) == 0
    assert [one.cells["device"] for one in waiting(house)] == ["radio"]
    house.clock.advance(86_400)
    assert decide.forget_strangers(house.ctx, house.system(), keep_days={"bench": 0}) == 1
