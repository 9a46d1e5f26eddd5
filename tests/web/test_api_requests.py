"""What the API makes of requests: strict JSON, states seen, keys that repeat nothing, problems that can be read."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from flask import Flask
from schemathesis.specs.openapi.definitions import OPENAPI_31_VALIDATOR
from sqlalchemy import func, select

from notify.core.actors import Actor
from notify.core.sources import Batch, Change
from notify.flows import once
from notify.flows.check_in_form import DeviceForm
from notify.flows.take_changes import take
from notify.store import idempotent, schema
from notify.web.api.describe import describe
from notify.web.api.operations import OPERATIONS
from notify.web.api.problems import KINDS
from notify.web.api.reading import DEEPEST, LARGEST
from tests.web.script_hand import Script, script

pytestmark = pytest.mark.long  # each has a shop of its own

VISIT = {"bringer": {"name": "Bo Quay", "email": "bo@example.org"}, "devices": [{"device": "Gannet radio"}]}


def count(house: Any, table: str) -> int:
    with house.ctx.db.engine.connect() as connection:
        return int(connection.execute(select(func.count()).select_from(schema.metadata.tables[table])).scalar_one())


def problem(answer: Any) -> dict[str, Any]:
    """A problem as RFC 9457 3.1 has it: its own media type, and members that agree with the answer."""
    told: dict[str, Any] = answer.get_json()
    assert answer.mimetype == "application/problem+json"
    assert told["status"] == answer.status_code
    assert isinstance(told["type"], str) and isinstance(told["title"], str) and isinstance(told["detail"], str)
    return told


def test_the_description_is_valid_openapi_3_1() -> None:
    """Against the published meta-schema of OpenAPI 3.1 (in schemathesis), which a planted fault breaks."""
    assert OPENAPI_31_VALIDATOR.is_valid(describe())
    assert not OPENAPI_31_VALIDATOR.is_valid({**describe(), "paths": {"api/v1/me": {}}})
    ids = [one.name for one in OPERATIONS]
    assert len(set(ids)) == len(ids)


def test_the_description_is_served_to_everybody_and_printed_alike(app: Flask, house: Any) -> None:
    answer = Script(app, "").ask("GET", "/openapi.json")
    assert (answer.status_code, answer.get_json()) == (200, describe())


BAD_BODIES: tuple[tuple[bytes, str, int], ...] = (
    (b"", "application/json", 400),
    (b"{", "application/json", 400),
    (b"null", "application/json", 400),
    (b"[]", "application/json", 400),
    (b'{"text": "a", "text": "b"}', "application/json", 400),  # RFC 8259 4: readers differ about this
    (b'{"text": NaN}', "application/json", 400),  # RFC 8259 6
    (b'{"text": "\xff"}', "application/json", 400),  # RFC 8259 8.1: UTF-8
    (b'\xef\xbb\xbf{"text": "a"}', "application/json", 400),  # RFC 8259 8.1: no byte order mark
    (b'{"text": "\\ud800"}', "application/json", 400),  # RFC 8259 8.2: half a sign
    (b'{"text": "a\\u0000"}', "application/json", 422),
    (b'{"text": "a", "more": 1}', "application/json", 400),
    (b'{"text": 1}', "application/json", 400),
    (b"[" * 50_000, "application/json", 400),
    (b'{"text": ' + b"[" * DEEPEST + b"]" * DEEPEST + b"}", "application/json", 400),
    (b'{"text": "' + b"a" * LARGEST + b'"}', "application/json", 413),
    (b'{"text": "a"}', "text/plain", 415),
    (b'{"text": "a"}', "application/json; charset=latin-1", 415),
    (b"text=a", "application/x-www-form-urlencoded", 415),
)


@pytest.mark.parametrize(("body", "kind", "status"), BAD_BODIES)
def test_a_body_that_is_not_plain_json_is_refused_and_changes_nothing(
    app: Flask, house: Any, body: bytes, kind: str, status: int
) -> None:
    ticket = house.check_in().ticket_ids[0]
    answer = script(app, house).ask("POST", f"/tickets/{ticket}/notes", body, Content_Type=kind)
    assert answer.status_code == status
    problem(answer)
    assert count(house, "notes") == 0


def test_a_problem_names_the_place_and_never_quotes_what_stood_there(app: Flask, house: Any) -> None:
    wrong = {"bringer": {"phone": 7700900123, "email": "x" * 300}, "devices": [{"device": "Radio", "paid": "yes"}]}
    told = problem(script(app, house).ask("POST", "/visits", wrong))
    assert {one["field"] for one in told["errors"]} == {"/bringer/phone", "/bringer/email", "/devices/0/paid"}
    assert "7700900123" not in str(told) and "xxxx" not in str(told)
    kind = Script(app, "").ask("GET", told["type"].removeprefix("/api/v1"))
    assert kind.get_json() == {"type": told["type"], "status": 400, "title": told["title"]}
    assert Script(app, "").ask("GET", "/problems/none-of-ours").status_code == 404


def test_every_kind_of_problem_has_a_title_of_its_own_and_a_status_of_trouble() -> None:
    assert len({title for _, title in KINDS.values()}) == len(KINDS)
    assert all(400 <= status <= 599 for status, _ in KINDS.values())


def test_addresses_methods_and_answers_that_are_not_there_are_problems_too(app: Flask, house: Any) -> None:
    holder, ticket = script(app, house), house.check_in().ticket_ids[0]
    assert problem(holder.ask("GET", "/nothing"))["status"] == 404
    shut = holder.ask("DELETE", f"/tickets/{ticket}")
    assert (problem(shut)["status"], shut.headers["Allow"]) == (405, "GET, HEAD, OPTIONS")
    assert problem(holder.ask("GET", "/me", Accept="text/html"))["status"] == 406
    assert problem(holder.ask("GET", "/tickets?phase=lost"))["status"] == 400
    assert problem(holder.ask("GET", "/tickets?limit=5&limit=6"))["status"] == 400
    assert problem(holder.ask("GET", "/tickets?sort=device"))["status"] == 400
    assert problem(holder.ask("GET", f"/tickets/{ticket.upper()}x"))["status"] == 404
    assert problem(holder.ask("POST", f"/tickets/{ticket}/move", {"to": "proving"}, if_match="*"))["status"] == 403


def test_a_ticket_is_changed_only_from_the_state_that_was_seen(app: Flask, house: Any) -> None:
    """RFC 9110 13.1.1 (If-Match, strong comparison) and 13.1.2 (If-None-Match); RFC 6585 3 (428)."""
    holder, ticket = script(app, house), house.check_in().ticket_ids[0]
    seen = holder.ask("GET", f"/tickets/{ticket}").headers["ETag"]
    assert holder.ask("GET", f"/tickets/{ticket}", if_none_match=seen).status_code == 304
    move = f"/tickets/{ticket}/move"
    assert problem(holder.ask("POST", move, {"to": "inspecting"}))["status"] == 428
    assert problem(holder.ask("POST", move, {"to": "inspecting"}, if_match=f"W/{seen}"))["status"] == 412
    asked = holder.ask("POST", f"/tickets/{ticket}/questions", {"kind": "give_back", "wording": "As it is?"})
    assert asked.status_code == 201  # the ticket's own row is as before; what is told of it is not
    assert problem(holder.ask("POST", move, {"to": "inspecting"}, if_match=seen))["status"] == 412
    fresh = holder.ask("GET", f"/tickets/{ticket}").headers["ETag"]
    moved = holder.ask("POST", move, {"to": "inspecting"}, if_match=f'"other", {fresh}')
    assert (moved.status_code, moved.get_json()["phase"]) == (200, "inspecting")
    assert moved.headers["ETag"] == holder.ask("GET", f"/tickets/{ticket}").headers["ETag"] != fresh
    for path, body in (
        ("place", {"shelf": "B2"}),
        ("money", {"paid": True}),
        ("promise", {"at": "2026-11-27T11:30:00Z"}),
    ):
        assert holder.ask("POST", f"/tickets/{ticket}/{path}", body, if_match=fresh).status_code == 412
        now = holder.ask("GET", f"/tickets/{ticket}").headers["ETag"]
        assert holder.ask("POST", f"/tickets/{ticket}/{path}", body, if_match=now).status_code == 200


def test_the_same_key_carries_a_request_out_once_and_answers_it_again(app: Flask, house: Any) -> None:
    """draft-ietf-httpapi-idempotency-key-header, from memory: the same answer again, 422 for another request."""
    holder, other = script(app, house), script(app, house)
    first = holder.ask("POST", "/visits", VISIT, idempotency_key="form-1042")
    again = holder.ask("POST", "/visits", VISIT, idempotency_key="form-1042")
    assert (first.status_code, again.status_code, again.get_json()) == (201, 201, first.get_json())
    assert count(house, "tickets") == 1
    changed = {**VISIT, "waits_here": True}
    assert problem(holder.ask("POST", "/visits", changed, idempotency_key="form-1042"))["status"] == 422
    assert other.ask("POST", "/visits", VISIT, idempotency_key="form-1042").status_code == 201  # a key of its own
    assert count(house, "tickets") == 2
    ticket = first.get_json()["tickets"][0]["id"]
    note = f"/tickets/{ticket}/notes"
    for _ in range(3):
        assert holder.ask("POST", note, {"text": "Likes tea"}, idempotency_key="n").status_code == 201
    assert count(house, "notes") == 1
    seen = holder.ask("GET", f"/tickets/{ticket}").headers["ETag"]  # a retry still names the state before
    replies = [holder.ask("POST", f"/tickets/{ticket}/move", {"to": "inspecting"}, if_match=seen, idempotency_key="m")
               for _ in range(2)]  # fmt: skip
    assert [one.status_code for one in replies] == [200, 200]
    assert replies[0].get_json() == replies[1].get_json()


def test_a_refused_request_may_come_again_under_its_key(app: Flask, house: Any) -> None:
    holder = script(app, house)
    wrong = {**VISIT, "bringer": {"name": "Bo", "phone": "12"}}
    assert holder.ask("POST", "/visits", wrong, idempotency_key="k").status_code == 422
    assert holder.ask("POST", "/visits", VISIT, idempotency_key="k").status_code == 201


def test_a_key_is_kept_with_what_it_did_so_that_a_crash_in_between_repeats_nothing(app: Flask, house: Any) -> None:
    holder = script(app, house)

    def crash(*_: Any, **__: Any) -> None:
        raise RuntimeError("the power fails")

    ctx, actor = house.ctx, house.actor()
    asked = once.Asked("k", b"note", b"secret")
    ticket = house.check_in().ticket_ids[0]

    def do(within: Any) -> dict[str, Any]:
        from notify.flows import desk_notes

        desk_notes.add_note(within, actor, ticket, text="Likes tea")
        crash()
        return {}

    with pytest.raises(RuntimeError):
        once.once(ctx, actor, asked, do)
    assert count(house, "notes") == 1
    with pytest.raises(Exception, match="carried out already"):
        once.once(ctx, actor, asked, do)
    assert count(house, "notes") == 1
    assert holder.ask("GET", "/me").status_code == 200


def test_two_at_once_with_one_key_do_a_thing_once(app: Flask, house: Any) -> None:
    holder = script(app, house)
    holder.ask("GET", "/me")
    statuses: list[int] = []
    go = threading.Barrier(4)

    def press() -> None:
        go.wait()
        statuses.append(holder.ask("POST", "/visits", VISIT, idempotency_key="twice").status_code)

    pressing = [threading.Thread(target=press) for _ in range(4)]
    for one in pressing:
        one.start()
    for one in pressing:
        one.join()
    assert count(house, "tickets") == 1
    assert set(statuses) <= {201, 409}
    assert 201 in statuses


def test_keys_are_forgotten_after_a_week_and_hold_nothing_of_what_was_sent(app: Flask, house: Any) -> None:
    holder = script(app, house)
    holder.ask("POST", "/visits", VISIT, idempotency_key="bo@example.org")
    with house.ctx.db.engine.connect() as connection:
        kept = repr(connection.execute(select(schema.idempotency)).all())
    assert "bo@example" not in kept and "Quay" not in kept
    house.clock.advance(once.KEEP.total_seconds() - 60)
    assert once.forget_keys(house.ctx, house.system()) == 0
    with house.ctx.db.write(house.shop_id) as unit:
        idempotent.keep(unit, "book:of-a-customer", {"booking": "b"}, at=house.clock())
    house.clock.advance(120)
    assert once.forget_keys(house.ctx, house.system()) == 1
    house.clock.advance(once.KEEP.total_seconds() * 2)
    assert once.forget_keys(house.ctx, house.system()) == 0
    assert count(house, "idempotency") == 1


def test_pages_of_a_list_hold_everything_once(app: Flask, house: Any) -> None:
    holder = script(app, house)
    for n in range(7):
        house.check_in(DeviceForm(f"Radio {n}"))
    house.deliver(after=91)
    for path, key in (("/tickets", "tickets"), ("/messages", "messages")):
        whole = [one["id"] for one in holder.ask("GET", f"{path}?limit=100").get_json()[key]]
        paged: list[str] = []
        page: dict[str, Any] = {"next": ""}
        while page["next"] is not None:
            after = f"&after={page['next']}" if page["next"] else ""
            page = holder.ask("GET", f"{path}?limit=3{after}").get_json()
            paged += [one["id"] for one in page[key]]
            assert len(page[key]) <= 3
        assert paged == whole
        assert len(whole) >= 7
    seqs: list[int] = []
    page = {"next": 0, "more": True}
    while page["more"]:
        page = holder.ask("GET", f"/events?since={page['next']}&limit=4").get_json()
        seqs += [one["seq"] for one in page["events"]]
    assert seqs == list(range(1, count(house, "events") + 1))
    assert holder.ask("GET", f"/events?since={seqs[-1]}").get_json() == {"events": [], "next": seqs[-1], "more": False}


def test_what_a_script_does_stands_in_the_story_under_its_token(app: Flask, house: Any) -> None:
    holder = script(app, house)
    made = holder.ask("POST", "/visits", VISIT).get_json()
    events = holder.ask("GET", "/events").get_json()["events"]
    mine = [one for one in events if one["visit"] == made["visit"]]
    assert {one["by"] for one in mine} == {"script"}
    assert len({one["by_id"] for one in mine}) == 1
    house.deliver(after=91)
    assert [one.to for one in house.sent()] == ["bo@example.org"]


def test_a_change_that_waits_is_told_with_its_reason_and_whom_it_names_only_to_who_may_see_it(
    app: Flask, house: Any
) -> None:
    told = Change(2, {"reference": "J-7", "phase": "gone fishing", "name": "Mo Strand", "phone": "07700 900456"})
    take(house.ctx, Actor(house.shop_id, "source", "bench"), Batch("bench", "tickets", "UTC", {}, {}), [told])
    blind = script(app, house, ["tickets:read"]).ask("GET", "/sources")
    (waits,) = blind.get_json()["doubts"]
    assert (waits["source"], waits["reference"], waits["word"]) == ("bench", "J-7", "gone fishing")
    assert "Strand" not in blind.text and "900456" not in blind.text
    assert "Mo Strand" in script(app, house).ask("GET", "/sources?source=bench").text
    assert script(app, house).ask("GET", "/sources?source=other").get_json()["doubts"] == []
