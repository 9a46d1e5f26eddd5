"""Signed calls of another system: only with their proof, only once, in any order, said well only after the commit."""

from __future__ import annotations

import json
import random
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from cloudevents.core.bindings.http import to_binary, to_structured  # PyPI cloudevents
from cloudevents.core.formats.json import JSONFormat
from cloudevents.core.v1.event import CloudEvent
from sqlalchemy import event as listen
from sqlalchemy import func, select

from notify.core.actors import Actor
from notify.core.sources import Change, Taken
from notify.core.tickets import Phase
from notify.flows import moves, take_call
from notify.store import schema as s
from notify.store import sources, tickets
from notify.web.hooks.calls import read_call
from tests.parts.house import House
from tests.parts.signed_source import COLUMNS, NAME, OLD_SECRET, SECRET, Caller, event, source, source_settings
from tests.parts.tampered import OTHER, mutation, signed, spoilt
from tests.web.database_digest import digest

pytestmark = pytest.mark.long
COUNTERS = frozenset({"throttles"})  # the only table that a refused call may touch
NOTES = frozenset({"taken_letters", "source_states"})  # what a call that changes nothing more is noted in


@pytest.fixture
def caller(house: House, tmp_path: Path) -> Caller:
    return Caller(house, source(tmp_path))


def phase_of(house: House, number: str) -> Phase:
    with house.read() as unit:
        return tickets.find_by_number(unit, number).phase


def state(house: House, *, but_not: frozenset[str] = frozenset()) -> dict[str, str]:
    return {name: text for name, text in digest(house).items() if name not in but_not}


def count(house: House, table: Any) -> int:
    with house.read() as unit:
        return int(unit.connection.execute(select(func.count()).select_from(table)).scalar_one())


def test_a_signed_event_moves_its_ticket_and_says_so(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    answer = caller.call(event(number, "on the bench"))
    assert (answer.status_code, answer.get_json()) == (
        200, {"taken": True, "what": "Taken", "changed": 1, "unchanged": 0, "older": 0, "asked": 0}
    )  # fmt: skip
    assert phase_of(house, number) is Phase.ON_BENCH
    with house.read() as unit:
        assert sources.state(unit, NAME).well_at == house.clock()


def test_no_spoilt_call_is_taken_and_no_call_acts_twice(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    body = json.dumps(event(number, "on the bench")).encode()
    before = state(house, but_not=COUNTERS)
    calls = spoilt(SECRET, body, at=caller.now)
    answers = {name: caller.send(headers, octets) for name, (headers, octets) in calls.items()}
    accepted = [name for name, one in answers.items() if one.status_code not in (400, 401, 429)]
    assert state(house, but_not=COUNTERS) == before
    good, _ = signed(SECRET, body, at=caller.now)
    assert caller.send(good, body).get_json()["changed"] == 1
    once = state(house, but_not=NOTES)
    replays = [caller.send(good, body) for _ in range(3)]
    other = json.dumps(event(number, "done", event_id="e-2")).encode()
    replays += [caller.call(other, call_id=good["webhook-id"])]  # the same id with another body: still one effect
    replays += [caller.call(event(number, "done", event_id="e-1"), call_id="msg_x")]  # the same event in another call
    effects = sum(one.get_json().get("changed", 0) for one in replays)
    assert {one.status_code for one in replays} == {200} and phase_of(house, number) is Phase.ON_BENCH
    assert state(house, but_not=NOTES) == once
    print(f"FIGURE D14_signed_calls tampered={len(calls)} accepted={len(accepted)} replay_effects={effects}")
    assert (len(calls) >= 60, accepted, effects) == (True, [], 0)


@pytest.mark.deep
def test_ten_thousand_random_changes_of_a_call_let_none_in(house: House, caller: Caller) -> None:
    number, chance = house.check_in().numbers[0], random.Random(14)
    good = signed(SECRET, json.dumps(event(number, "done")).encode(), at=caller.now)
    before = state(house, but_not=COUNTERS)
    changed = [one for one in (mutation(chance, good) for _ in range(10_000)) if one != good]
    let_in = 0
    for headers, body in changed:
        try:
            let_in += caller.send(headers, body).status_code < 300
        except ValueError:  # a line's end in a header: no HTTP client sends that
            continue
    print(f"FIGURE D14_signed_calls_fuzz mutations={len(changed)} accepted={let_in}")
    assert let_in == 0 and state(house, but_not=COUNTERS) == before


def test_a_source_that_is_not_there_answers_in_the_same_words(house: House, caller: Caller) -> None:
    body = json.dumps(event("K7M-2X9T", "done")).encode()
    wrong, _ = signed(OTHER, body, at=caller.now)
    there, not_there = caller.send(wrong, body), caller.send(wrong, body, name="elsewhere")
    assert (there.status_code, not_there.status_code) == (401, 404)
    assert there.data == not_there.data
    good, _ = signed(SECRET, body, at=caller.now)
    assert caller.send(good, body, name="elsewhere").status_code == 404


def test_a_clock_that_is_off_is_told_to_whoever_holds_the_key_only(caller: Caller) -> None:
    body = json.dumps(event("K7M-2X9T", "done")).encode()
    late = caller.send(signed(SECRET, body, at=caller.now - 301)[0], body)
    forged = caller.send(signed(OTHER, body, at=caller.now - 301)[0], body)
    assert (late.status_code, forged.status_code) == (401, 401)
    assert "clock" in late.get_json()["what"] and "clock" not in forged.get_json()["what"]


def test_a_flood_of_wrong_signatures_is_told_to_wait_and_keeps_nobody_else_out(house: House, caller: Caller) -> None:
    body = json.dumps(event("K7M-2X9T", "done")).encode()
    wrong, _ = signed(OTHER, body, at=caller.now)
    answers = [caller.send(wrong, body) for _ in range(25)]
    assert [one.status_code for one in answers] == [401] * 20 + [429] * 5
    assert 0 < int(answers[-1].headers["Retry-After"]) <= 3600
    number = house.check_in().numbers[0]
    assert caller.call(event(number, "done")).status_code == 200  # from the same address, rightly signed
    house.clock.advance(3601)
    assert caller.send(wrong, body).status_code == 401


def test_while_keys_are_changed_both_are_taken_and_then_only_the_new_one(house: House, tmp_path: Path) -> None:
    old = tmp_path / "before.key"
    old.write_text(OLD_SECRET)
    old.chmod(0o600)
    number, place = house.check_in().numbers[0], source(tmp_path, old_secret_file=old)
    caller = Caller(house, place, secret=OLD_SECRET)
    assert caller.call(event(number, "on the bench")).status_code == 200
    old.unlink()  # no restart
    assert caller.call(event(number, "done", event_id="e-2"), call_id="msg_9").status_code == 401
    assert Caller(house, place).call(event(number, "done", event_id="e-2"), call_id="msg_9").status_code == 200


def test_a_source_without_a_key_or_with_one_that_others_read_takes_nothing(house: House, tmp_path: Path) -> None:
    place = source(tmp_path)
    assert place.secret_file is not None
    caller, number = Caller(house, place), house.check_in().numbers[0]
    place.secret_file.chmod(0o644)
    assert caller.call(event(number, "done")).status_code == 404
    place.secret_file.unlink()
    assert caller.call(event(number, "done")).status_code == 404
    assert phase_of(house, number) is Phase.TAKEN_IN


def test_events_come_in_any_order_and_the_newest_stands(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    house.clock.advance(3600)
    at = [(house.clock() - timedelta(minutes=one)).isoformat() for one in (30, 20)]
    assert caller.call(event(number, "done", event_id="b", time=at[1])).get_json()["changed"] == 1
    assert caller.call(event(number, "on the bench", event_id="a", time=at[0])).get_json()["older"] == 1
    assert phase_of(house, number) is Phase.ON_SHELF
    other = house.check_in().numbers[0]
    assert caller.call(event(other, "done", event_id="d", turn=10)).get_json()["changed"] == 1
    assert caller.call(event(other, "on the bench", event_id="c", turn=9)).get_json()["older"] == 1
    assert phase_of(house, other) is Phase.ON_SHELF


def test_what_cannot_be_taken_is_kept_for_a_person_and_answered_as_taken(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    told = [event(number, "lost at sea", event_id="1"), event("J-77", "done", event_id="2"),
            event("", "done", event_id="3"), {**event(number, "x", event_id="4"), "data": None}]  # fmt: skip
    answers = [caller.call(one) for one in told]
    assert [(one.status_code, one.get_json()["asked"]) for one in answers] == [(200, 1)] * 4
    assert b"lost at sea" not in b"".join(one.data for one in answers) and count(house, s.doubts) >= 2
    assert phase_of(house, number) is Phase.TAKEN_IN


def test_events_come_in_every_mode_that_another_implementation_writes(house: House, caller: Caller) -> None:
    numbers = [house.check_in().numbers[0] for _ in range(3)]
    made = [
        CloudEvent(attributes={"id": f"e-{n}", "source": "/bench", "type": "t", "datacontenttype": "application/json",
                               "time": datetime(2026, 11, 25, 9, tzinfo=UTC)}, data={"job": number, "where": "done"})
        for n, number in enumerate(numbers)
    ]  # fmt: skip
    whole, parted = to_structured(made[0], JSONFormat()), to_binary(made[1], JSONFormat())
    batch = json.dumps([json.loads(to_structured(one, JSONFormat()).body) for one in made]).encode()
    assert caller.call(whole.body, headers=whole.headers).get_json()["changed"] == 1
    assert caller.call(parted.body, headers=parted.headers).get_json()["changed"] == 1
    many = caller.call(batch, headers={"content-type": "application/cloudevents-batch+json"}).get_json()
    assert (many["changed"], many["unchanged"]) == (1, 2)
    assert {phase_of(house, number) for number in numbers} == {Phase.ON_SHELF}


def test_attributes_that_no_signature_covers_act_on_nothing(house: House, tmp_path: Path) -> None:
    caller = Caller(house, source(tmp_path, columns=(("reference", "/subject"), ("phase", "/data/where"))))
    number = house.check_in().numbers[0]
    told = {"ce-specversion": "1.0", "ce-id": "1", "ce-source": "/bench", "ce-type": "t", "ce-subject": number}
    assert caller.call({"where": "done"}, headers=told).get_json()["changed"] == 0
    assert phase_of(house, number) is Phase.TAKEN_IN
    spoken = event("", "done") | {"subject": number}
    assert caller.call(spoken, headers=told | {"ce-subject": "X"}).get_json()["changed"] == 1


def test_plain_json_is_read_by_its_pointers_one_object_or_many(house: House, tmp_path: Path) -> None:
    columns = (("reference", "/job/no"), ("phase", "/job/steps/0"))
    caller = Caller(house, source(tmp_path, form="json", columns=columns))
    numbers = [house.check_in().numbers[0] for _ in range(3)]
    assert caller.call({"job": {"no": numbers[0], "steps": ["done"]}}).get_json()["changed"] == 1
    told = [{"job": {"no": number, "steps": ["on the bench"]}} for number in numbers[1:]]
    assert caller.call(told).get_json()["changed"] == 2
    assert caller.call([]).get_json()["changed"] == 0


def test_a_body_that_cannot_be_read_at_all_is_refused_and_may_come_again_mended(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    before = state(house)
    bad = [b"", b"{", b"null", b"7", b'"text"', b"\xff\xfe", b"[" * 30_000, b"{}", b'{"specversion": "0.3"}', b"[[]]",
           b'{"specversion": NaN}', json.dumps(event(number, "done") | {"id": ""}).encode(),
           json.dumps([event(number, "done", event_id=str(n)) for n in range(101)]).encode(),
           json.dumps([event(number, "done"), {"half": 1}]).encode()]  # fmt: skip
    answers = [caller.call(body if b"\xff" not in body else b'{"a":', call_id="msg_same") for body in bad]
    assert {one.status_code for one in answers} == {400} and state(house) == before
    assert caller.call(event(number, "done"), call_id="msg_same").get_json()["changed"] == 1
    good, _ = signed(SECRET, b"{}", at=caller.now)
    assert caller.send(good, b"{" + b" " * 70_000 + b"}").status_code == 413
    assert caller.send(good, b"{}", content_type="text/plain").status_code == 415
    assert caller.send(good | {"Content-Encoding": "gzip"}, b"{}").status_code == 415


def test_nothing_is_said_to_be_taken_that_was_not_committed(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    engine, body = house.ctx.db.engine, event(number, "done")

    def fail(*_: Any) -> None:
        raise OSError

    before = state(house)
    listen.listen(engine, "commit", fail)
    try:
        answer = caller.call(body, call_id="msg_1")
    finally:
        listen.remove(engine, "commit", fail)
    assert answer.status_code >= 500 and state(house) == before
    assert caller.call(body, call_id="msg_1").get_json() == {
        "taken": True, "what": "Taken", "changed": 1, "unchanged": 0, "older": 0, "asked": 0
    }  # fmt: skip


def test_calls_that_come_at_once_are_answered_each_for_itself(house: House, tmp_path: Path) -> None:
    numbers = [house.check_in().numbers[0] for _ in range(12)]
    place, together = source(tmp_path), take_call.Together()
    actor = Actor(house.shop_id, "source", NAME)

    def one(n: int) -> Taken:
        cells = {"reference": numbers[n], "phase": ("done", "lost at sea", "on the bench")[n % 3]}
        return together.take(house.ctx, actor, place, take_call.Call(f"c{n % 11}", [take_call.Told(Change(5, cells))]))

    with ThreadPoolExecutor(12) as pool:
        taken = list(pool.map(one, range(12)))
    assert sum(one.known for one in taken) == 1  # two have the same id: whichever came first counts
    for n, found in enumerate(taken):
        if not found.known:
            assert (found.taken, [line for line, _, _ in found.doubted]) == (((), [5]) if n % 3 == 1 else ((5,), []))
    assert phase_of(house, numbers[3]) is Phase.ON_SHELF and phase_of(house, numbers[1]) is Phase.TAKEN_IN


def test_a_call_that_fails_takes_none_of_those_that_came_with_it_down(house: House, tmp_path: Path) -> None:
    numbers = [house.check_in().numbers[0] for _ in range(2)]
    together, ready = take_call.Together(), threading.Barrier(2)
    actor, place = Actor(house.shop_id, "source", NAME), source(tmp_path)

    class Faulty(dict[str, str]):
        def get(self, *_: Any) -> Any:  # a fault of ours while this one is taken
            raise ZeroDivisionError

    def one(n: int) -> Any:
        cells = {"reference": numbers[n], "phase": "done"}
        call = take_call.Call(f"c{n}", [take_call.Told(Change(1, Faulty(cells) if n else cells))])
        ready.wait()
        try:
            return together.take(house.ctx, actor, place, call).taken
        except ZeroDivisionError:
            return "failed"

    with ThreadPoolExecutor(2) as pool:
        assert list(pool.map(one, range(2))) == [(1,), "failed"]
    assert phase_of(house, numbers[0]) is Phase.ON_SHELF and count(house, s.taken_letters) == 1


def test_calls_that_share_a_transaction_with_a_faulty_one_are_taken_alone(house: House, tmp_path: Path) -> None:
    numbers = [house.check_in().numbers[0] for _ in range(3)]
    together, others = take_call.Together(), threading.Event()
    actor, place = Actor(house.shop_id, "source", NAME), source(tmp_path)

    class First(dict[str, str]):
        def get(self, *asked: Any) -> Any:  # while this one is taken the two others come
            others.set()
            time.sleep(0.1)
            return super().get(*asked)

    class Faulty(dict[str, str]):
        def get(self, *_: Any) -> Any:
            raise ZeroDivisionError

    def one(n: int) -> Any:
        kind = (First, Faulty, dict)[n]
        call = take_call.Call(f"c{n}", [take_call.Told(Change(1, kind({"reference": numbers[n], "phase": "done"})))])
        if n:
            others.wait(10)
        try:
            return together.take(house.ctx, actor, place, call).taken
        except ZeroDivisionError:
            return "failed"

    with ThreadPoolExecutor(3) as pool:
        assert list(pool.map(one, range(3))) == [(1,), "failed", (1,)]


def test_an_id_is_that_of_its_own_source(house: House, tmp_path: Path) -> None:
    # Standard Webhooks 1.0.0: an id is unique to its sender; two senders may well count alike.
    number = house.check_in().numbers[0]
    one = take_call.Call("msg_1", [take_call.Told(Change(1, {"reference": number, "phase": "on the bench"}), "mark")])
    for name in ("web-form", "till"):
        actor, place = Actor(house.shop_id, "source", name), source(tmp_path, name=name)
        assert not take_call.take_call(house.ctx, actor, place, one).known
        assert take_call.take_call(house.ctx, actor, place, one).known


def test_a_mapped_time_counts_rather_than_that_of_the_event() -> None:
    columns = (*COLUMNS.items(), ("changed_at", "/data/since"))
    body = event("K7M-2X9T", "done")
    body |= {"time": "2026-11-25T09:00:00Z", "data": body["data"] | {"since": "2026-11-25T08:00:00Z"}}
    for mapped, found in ((columns, "2026-11-25T08:00:00Z"), (columns[:-1], "2026-11-25T09:00:00Z")):
        (told,) = read_call(source_settings(columns=mapped), json.dumps(body).encode(), {})
        assert told.change.cells["changed_at"] == found


def test_ids_are_kept_as_hashes_for_longer_than_anybody_tries_again(house: House, caller: Caller) -> None:
    number = house.check_in().numbers[0]
    caller.call(event(number, "on the bench", event_id="Ines Farrow"), call_id="msg_ines@example")
    with house.read() as unit:
        kept = str(unit.connection.execute(select(s.taken_letters)).all())
    assert "ines" not in kept.lower() and len(kept) > 100
    for day, left in ((13, 2), (2, 0)):
        house.clock.advance(timedelta(days=day).total_seconds())
        take_call.tidy(house.ctx, house.system())
        assert count(house, s.taken_letters) == left
    # 300 seconds, and the 75 hours over which senders try again by the example of Standard Webhooks 1.0.0.
    assert timedelta(hours=75, seconds=300) < take_call.KEPT


def test_a_source_speaks_for_its_own_shop_only(house: House, tmp_path: Path) -> None:
    mine = house.check_in().numbers[0]
    caller = Caller(house, source(tmp_path, shop="No Such Shop"))
    answer = caller.call(event(mine, "done"))
    assert answer.status_code == 503 and phase_of(house, mine) is Phase.TAKEN_IN
    assert Caller(house, source(tmp_path, shop="tramstop bench")).call(event(mine, "done")).status_code == 200


def test_a_later_move_of_staff_stands_against_an_older_word(house: House, caller: Caller) -> None:
    done = house.check_in()
    house.clock.advance(600)
    said_at = house.clock().isoformat()
    house.clock.advance(600)
    moves.move(house.ctx, house.actor(), done.ticket_ids[0], "inspecting")
    answer = caller.call(event(done.numbers[0], "on the bench", time=said_at)).get_json()
    assert (answer["asked"], phase_of(house, done.numbers[0])) == (1, Phase.INSPECTING)
