"""Sources at the edges of the rules: each case names what a careless line of code would do instead."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import pytest

from notify.core.actors import Actor
from notify.core.sources import Change, Doubt, Trouble
from notify.core.tickets import Phase
from notify.flows import doubts as decide
from notify.flows import moves, source_state, take_changes
from notify.flows.check_in_form import DeviceForm
from notify.store import doubts, events, sources, tickets
from tests.flows.test_take_changes import batch, phase_of, row, tell, waiting
from tests.parts.house import House

pytestmark = pytest.mark.long


def test_a_row_that_fails_after_it_moved_a_ticket_leaves_nothing_for_the_next_one(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    done = tell(house, row(number, "done", price="a lot"), row(number, "on the bench"))
    assert (done.taken, [kind for _, kind, _ in done.doubted]) == ((3,), [Doubt.UNREADABLE])
    assert phase_of(house, number) is Phase.ON_BENCH


def test_what_another_source_did_later_stands_like_what_staff_did(house: House) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(600)
    before = (house.clock() - timedelta(minutes=5)).isoformat()
    other = batch(house, source="web form")
    change = [Change(1, row(number, "on the bench"))]
    assert take_changes.take(house.ctx, Actor(house.shop_id, "source", "web form"), other, change).taken == (1,)
    told = tell(house, row(number, "in line", changed_at=before))
    assert [kind for _, kind, _ in told.doubted] == [Doubt.STAFF_SAID_OTHERWISE]
    assert phase_of(house, number) is Phase.ON_BENCH


def test_a_word_is_as_old_as_it_was_however_often_its_row_comes_again(house: House) -> None:
    visit = house.check_in()
    house.clock.advance(600)
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "in_line")
    assert tell(house, row(visit.numbers[0], "done")).doubted  # the look before was a minute ago: ours is later
    house.clock.advance(600)  # now the look before lies after what staff did, but the word is the same one
    again = tell(house, row(visit.numbers[0], "done", fault="hums"))
    assert [kind for _, kind, _ in again.doubted] == [Doubt.STAFF_SAID_OTHERWISE]
    assert phase_of(house, visit.numbers[0]) is Phase.IN_LINE


@pytest.mark.parametrize("name", ["version", "changed_at"])
def test_a_row_that_tells_no_version_or_time_does_not_make_old_ones_new(house: House, name: str) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(7200)
    old, new = ((house.clock() - timedelta(minutes=ago)).isoformat() for ago in (60, 30))
    assert tell(house, row(number, "in line", **{name: new})).taken == (2,)
    assert tell(house, row(number, "in line", fault="hums")).unchanged == (2,)
    assert tell(house, row(number, "done", **{name: old})).stale == (2,)


def test_a_clock_that_runs_a_little_ahead_is_taken_for_ours_and_one_far_ahead_is_not(house: House) -> None:
    one, other = house.check_in(DeviceForm("Radio"), DeviceForm("Camera")).numbers
    house.clock.advance(60)
    now = house.clock()
    near, far = ((now + timedelta(minutes=ahead)).isoformat() for ahead in (4, 6))
    done = tell(house, row(one, "in line", changed_at=near), row(other, "in line", changed_at=far))
    assert (done.taken, [(line, kind) for line, kind, _ in done.doubted]) == ((2,), [(3, Doubt.UNREADABLE)])
    with house.read() as unit:
        assert tickets.find_by_number(unit, one).phase_since == now  # never later than it was heard


def test_many_devices_taken_in_are_several_transactions_and_one_batch(house: House) -> None:
    # Ten that are taken in fill a transaction (measured, flows/taker.FULL): twenty-five are three, with two pauses.
    rows = [Change(n, row(f"J-{n}", "came in", device="Radio")) for n in range(25)]
    actor, paused = Actor(house.shop_id, "source", "bench"), list[float]()
    whole = batch(house, digest="d" * 64)
    done = take_changes.take(house.ctx, actor, whole, rows, pause=paused.append)
    assert (len(done.taken), done.known, len(paused)) == (25, False, 2)
    assert take_changes.take(house.ctx, actor, whole, rows, pause=paused.append).known


def test_a_batch_in_turns_is_known_after_its_last_turn_only(house: House) -> None:
    numbers = house.check_in(DeviceForm("Radio"), DeviceForm("Camera")).numbers
    house.clock.advance(60)
    actor, whole = Actor(house.shop_id, "source", "bench"), batch(house, digest="e" * 64)
    one, other = (Change(n, row(number, "done")) for n, number in enumerate(numbers))
    first = take_changes.take(house.ctx, actor, whole, [one], is_last=False)
    last = take_changes.take(house.ctx, actor, whole, [other], before=first)
    assert (first.taken, last.taken, last.known) == ((0,), (1,), False)
    with house.read() as unit:
        assert sources.file_known(unit, "bench", "e" * 64)


@pytest.mark.parametrize("word", ["fetched", "gone"])
def test_no_source_hands_a_device_back_or_closes_it(house: House, word: str) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(60)
    tell(house, row(number, "done"))
    house.clock.advance(60)
    assert [kind for _, kind, _ in tell(house, row(number, word)).doubted] == [Doubt.NEEDS_A_PERSON]
    (doubt,) = waiting(house)
    assert not decide.take_theirs(house.ctx, house.actor(), batch(house), doubt.id).settled
    assert phase_of(house, number) is Phase.ON_SHELF


def test_a_story_never_runs_backwards_when_an_older_word_is_taken_after_all(house: House) -> None:
    visit = house.check_in()
    house.clock.advance(600)
    before = (house.clock() - timedelta(minutes=5)).isoformat()
    moves.move(house.ctx, house.actor(), visit.ticket_ids[0], "in_line")
    tell(house, row(visit.numbers[0], "done", changed_at=before))
    assert decide.take_theirs(house.ctx, house.actor(), batch(house), waiting(house)[0].id).settled
    with house.read() as unit:
        ticket = tickets.find_by_number(unit, visit.numbers[0])
        story = events.story_of(unit, visit_id=ticket.visit_id, ticket_id=ticket.id)
    assert ticket.phase is Phase.ON_SHELF and all(a.at <= b.at for a, b in pairwise(story))


@pytest.mark.parametrize("backend", ["sqlite"], indirect=True)
def test_a_word_explained_once_is_tried_again_for_every_one_of_more_than_a_transaction(house: House) -> None:
    rows = [Change(n, row(f"J-{n}", "lost at sea")) for n in range(take_changes.MOST + 2)]
    actor = Actor(house.shop_id, "source", "bench")
    for some in (rows[: take_changes.MOST], rows[take_changes.MOST :]):
        take_changes.take(house.ctx, actor, batch(house), some)
    decide.mean(house.ctx, house.actor(), batch(house), "lost at sea", "unrepaired")
    with house.read() as unit:
        assert doubts.count_open(unit) == {"bench": {Doubt.UNKNOWN_TICKET: take_changes.MOST + 2}}


def test_trouble_begins_once_and_ends_when_the_source_is_well(house: House) -> None:
    began = house.clock()
    for trouble in (Trouble.SLOW, Trouble.UNREACHABLE):
        source_state.looked(house.ctx, house.shop_id, "bench", trouble=trouble)
        house.clock.advance(60)
    seen = source_state.state(house.ctx, house.shop_id, "bench")
    assert (seen.trouble, seen.trouble_since, seen.well_at) == (Trouble.UNREACHABLE, began, None)
    source_state.looked(house.ctx, house.shop_id, "bench")
    seen = source_state.state(house.ctx, house.shop_id, "bench")
    assert (seen.trouble, seen.trouble_since, seen.well_at) == ("", None, house.clock())
