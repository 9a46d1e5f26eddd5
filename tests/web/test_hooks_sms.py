"""What a gateway sends: only with its proof, only once, only forward, and said well only after the commit."""

from __future__ import annotations

import base64
import hashlib
import hmac
import itertools
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.channels.memory import MemoryChannel
from notify.channels.sms_mailgate import SmsMailgate
from notify.config.settings import SmsHook
from notify.core.messages import MessageState
from notify.flows import moves, set_up, view_gateway
from notify.store import messages, people, replies, tickets
from tests.parts.clock import FakeClock
from tests.parts.databases import Backend
from tests.parts.house import SHOP, House, make_house
from tests.web.conftest import BASE, app_of, sign_in

pytestmark = pytest.mark.long

SECRET = "quill-and-lantern-4-harbour"
RECEIPT, INBOUND = "/hooks/sms/receipt", "/hooks/sms/inbound"
# The invented gateway's own words for things.
HOOK = SmsHook(
    proof="hmac", header="X-Mark", name="", secret_file=None, algorithm="sha256", encoding="hex", prefix="h1=",
    form="json", zone="Europe/Berlin",
    receipt=(("id", "/ours/name"), ("reference", "/mark"), ("state", "/became"), ("code", "/trouble")),
    inbound=(("id", "/ours/name"), ("sender", "/who"), ("text", "/words"), ("at", "/when")),
)  # fmt: skip
STATES = (("GONE_OUT", "handed_over"), ("HELD", "delayed"), ("ON_PHONE", "delivered"), ("DEAD", "failed"),
          ("NO_SUCH", "bad_number"))  # fmt: skip


class Side:
    """The gateway's side of an installation whose settings expect it."""

    def __init__(self, house: House, hook: SmsHook = HOOK, secret: str = SECRET) -> None:
        self.house, self.hook, self.secret = house, hook, secret
        told = house.services.settings
        told = replace(told, sms_hook=hook, sms_http=replace(told.sms_http, states=STATES))
        self.app: Flask = app_of(replace(house.services, settings=told, hook_secret=secret))

    def send(self, path: str, body: bytes, headers: dict[str, str] | None = None) -> TestResponse:
        return self.app.test_client().post(path, data=body, headers=headers or {}, base_url=BASE)

    def signed(self, path: str, told: Any) -> TestResponse:
        body = told if isinstance(told, bytes) else json.dumps(told).encode()
        # RFC 2104 by the standard library's other interface than the product uses.
        mark = hmac.new(self.secret.encode(), body, hashlib.sha256).hexdigest()
        return self.send(path, body, {"X-Mark": f"h1={mark}"})

    def receipt(self, name: str, became: str, **more: str) -> TestResponse:
        return self.signed(RECEIPT, {"ours": {"name": name}, "became": became, **more})


@pytest.fixture
def house(backend: Backend, clock: FakeClock, tmp_path: Path, tzdata_only: None) -> Iterator[House]:
    """An installation whose gateway takes messages over under names of its own: gw-1, gw-2, ..."""
    numbers = itertools.count(1)

    def over(_: Outgoing) -> Receipt:
        return Receipt(Verdict.ACCEPTED, "http-201", provider_id=f"gw-{next(numbers)}")

    ways = {"email": MemoryChannel(), "sms": SmsMailgate(MemoryChannel(over), "{digits}@sms.example.org")}
    made = make_house(tmp_path, backend.url, clock=clock, channels=ways)
    yield made
    made.services.close()


@pytest.fixture
def side(house: House) -> Side:
    return Side(house)


def tell(house: House, **whom: Any) -> messages.Message:
    """Somebody is told by text message that their device was taken in."""
    house.check_in(**{"email": "", **whom})
    house.deliver(after=91)
    sent = sent_texts(house)[-1]
    assert (sent.state, sent.delivery, sent.provider_id[:3]) == ("sent", "handed_over", "gw-")
    return sent


def tell_ready(house: House) -> messages.Message:
    """Somebody with nothing but a mobile is told that their device is ready."""
    done = house.check_in(email="")
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.deliver(after=91)
    return next(one for one in sent_texts(house) if one.notice == "ready")


def sent_texts(house: House) -> list[messages.Message]:
    with house.read() as unit:
        return [one for one in messages.list_messages(unit) if one.channel == "sms"][::-1]


def row(house: House, message_id: str) -> messages.Message:
    with house.read() as unit:
        found = messages.get_message(unit, message_id)
    assert found is not None
    return found


def heard(house: House) -> list[replies.Reply]:
    with house.read() as unit:
        return list(replies.list_replies(unit, limit=50))


def inbound(words: str, *, who: str = "447700900123", name: str = "in-1", when: str = "2026-11-25T10:00:00") -> Any:
    return {"ours": {"name": name}, "who": who, "words": words, "when": when}


def test_a_receipt_moves_its_message_forward_and_never_back(side: Side, house: House) -> None:
    sent = tell(house)
    seen = []
    for became in ("GONE_OUT", "HELD", "ON_PHONE", "HELD", "GONE_OUT", "DEAD", "no such word", "ON_PHONE"):
        assert side.receipt(sent.provider_id, became).status_code == 200
        now = row(house, sent.id)
        seen.append((now.state, now.delivery))
    assert [delivery for _, delivery in seen] == ["handed_over", "delayed"] + ["delivered"] * 6
    assert {state for state, _ in seen} == {MessageState.SENT}


def test_a_failed_text_message_goes_the_next_way_once_however_often_it_is_said(side: Side, house: House) -> None:
    sent = tell_ready(house)
    for _ in range(4):
        assert side.receipt(sent.provider_id, "NO_SUCH", trouble="E21").status_code == 200
    assert row(house, sent.id).state == MessageState.GIVEN_UP
    with house.read() as unit:
        (contact,) = [one for one in people.contacts_of(unit, sent.person_id) if one.id == sent.contact_id]
        again = [one for one in messages.messages_of_visit(unit, sent.visit_id)
                 if one.cause == sent.cause and one.notice == sent.notice and one.id != sent.id]  # fmt: skip
    assert contact.undeliverable
    assert [one.channel for one in again] == [
        "call"
    ]  # nothing else is allowed, and somebody must hear that it is ready


def test_our_own_reference_finds_the_message_but_only_the_whole_of_it(side: Side, house: House) -> None:
    sent = tell(house)
    reference = sent.message_id.strip("<>").partition("@")[0]
    for wrong in (reference[:-1], sent.id, sent.id + ".sms.00000000.0", "x" * 400, "%", ""):
        assert side.signed(RECEIPT, {"mark": wrong, "became": "ON_PHONE"}).status_code in (400, 404)
    assert row(house, sent.id).delivery == "handed_over"
    assert side.signed(RECEIPT, {"mark": reference, "became": "ON_PHONE"}).status_code == 200
    assert row(house, sent.id).delivery == "delivered"


def test_an_unknown_word_is_unknown_counted_and_shown_and_never_delivered(side: Side, house: House) -> None:
    words = ["on_phone", "DELIVERED", "delivered", "OK", "1", "ON_PHONE ", "<b>", "call +447700900123", "x" * 500]
    for number, word in enumerate(words):
        sent = tell(house, phone=f"07700 9002{number:02d}")
        assert side.receipt(sent.provider_id, word).status_code == 200
        assert row(house, sent.id).delivery == "unknown", word
    shown = view_gateway.unknown_words(house.ctx, house.shop_id)
    assert sum(shown.values()) == len(words)
    assert shown["OK"] == 1
    assert "7700900123" not in str(shown)


def test_a_name_that_nobody_knows_is_said_to_be_unknown_so_that_it_is_offered_again(side: Side, house: House) -> None:
    tell(house)
    assert side.receipt("gw-999", "ON_PHONE").status_code == 404


def test_a_receipt_that_comes_while_the_message_is_leaving_is_asked_for_again(side: Side, house: House) -> None:
    sent = tell(house)
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.exec_driver_sql(
            f"update messages set lease_by = 'x', lease_until = created_at where id = '{sent.id}'"
        )
    answer = side.receipt(sent.provider_id, "ON_PHONE")
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "60")
    assert row(house, sent.id).delivery == "handed_over"


def test_stop_by_text_message_ends_the_texts_and_a_repeated_call_does_nothing_more(side: Side, house: House) -> None:
    tell(house)
    body = json.dumps(inbound("Stop")).encode()
    assert [side.signed(INBOUND, body).get_json()["what"] for _ in range(3)] == ["Taken"] + ["Known already"] * 2
    assert [(one.channel, one.kind) for one in heard(house)] == [("sms", "stop")]
    with house.read() as unit:
        (mine,) = people.find_people(unit, "sms", "+447700900123")
        (person,) = people.recipients(unit, [mine])
    assert not any(reach.purposes for reach in person.reaches if reach.channel == "sms")
    house.deliver(after=91)
    last = sent_texts(house)[-1]
    assert (last.notice, last.state) == ("stop_confirmed", "sent")


def test_an_ordinary_answer_is_kept_for_the_shop_with_its_own_time(side: Side, house: House) -> None:
    tell(house)
    # 10:00 in the gateway's zone (Berlin in November, UTC+1) is 09:00 UTC.
    assert side.signed(INBOUND, inbound("Is it done? \U0001f4fb", when="2026-11-25T10:00:00")).status_code == 200
    (reply,) = heard(house)
    assert (reply.text, reply.sender, reply.at.isoformat()) == (
        "Is it done? \U0001f4fb", "+447700900123", "2026-11-25T09:00:00+00:00"
    )  # fmt: skip


@pytest.mark.parametrize("when", ["", "soon", "9" * 30, "2099-01-01T00:00:00Z", "0000", "1e5", "2026-13-01"])
def test_a_time_that_is_none_or_not_yet_is_now(side: Side, house: House, when: str) -> None:
    assert side.signed(INBOUND, inbound("hello", when=when)).status_code == 200
    (reply,) = heard(house)
    assert reply.at <= house.clock()


def test_a_stranger_and_a_short_code_are_heard_by_the_shop(side: Side, house: House) -> None:
    for number, who in enumerate(("447700900999", "60006", "BENCHNEWS", "0" * 300)):
        assert side.signed(INBOUND, inbound("hello", who=who, name=f"in-{number}")).status_code == 200
    assert len(heard(house)) == 4


# How a call is spoiled: body, headers. All of the right length and shape.
def spoilt(side: Side) -> dict[str, tuple[bytes, dict[str, str]]]:
    body = json.dumps(inbound("Stop")).encode()

    def mark(text: bytes, secret: str = SECRET, kind: str = "sha256") -> str:
        return hmac.new(secret.encode(), text, kind).hexdigest()

    good = mark(body)
    return {
        "no header": (body, {}), "empty": (body, {"X-Mark": ""}), "prefix only": (body, {"X-Mark": "h1="}),
        "no prefix": (body, {"X-Mark": good}), "another prefix": (body, {"X-Mark": f"h2={good}"}),
        "another secret": (body, {"X-Mark": f"h1={mark(body, 'x')}"}),
        "empty secret": (body, {"X-Mark": f"h1={mark(body, '')}"}),
        "another hash": (body, {"X-Mark": f"h1={mark(body, kind='sha512')}"}),
        "cut": (body, {"X-Mark": f"h1={good[:-2]}"}), "longer": (body, {"X-Mark": f"h1={good}00"}),
        "one digit": (body, {"X-Mark": f"h1={'0' if good[0] != '0' else '1'}{good[1:]}"}),
        "no digits": (body, {"X-Mark": "h1=" + "z" * 64}), "not ASCII": (body, {"X-Mark": "h1=\xe4"}),
        "base64": (body, {"X-Mark": "h1=" + base64.b64encode(bytes.fromhex(good)).decode()}),
        "a space in the body": (body + b" ", {"X-Mark": f"h1={good}"}),
        "another body": (body.replace(b"Stop", b"Start"), {"X-Mark": f"h1={good}"}),
        "the same JSON written anew": (json.dumps(json.loads(body), indent=1).encode(), {"X-Mark": f"h1={good}"}),
        "no body": (b"", {"X-Mark": f"h1={good}"}), "another header": (body, {"X-Other": f"h1={good}"}),
        "in the address": (body, {"Cookie": f"X-Mark=h1={good}"}),
        "bearer": (body, {"Authorization": f"Bearer {SECRET}"}), "the secret itself": (body, {"X-Mark": SECRET}),
    }  # fmt: skip


def test_a_call_without_the_right_signature_changes_nothing(side: Side, house: House) -> None:
    tell(house)
    wrong = {name: side.send(INBOUND, *call).status_code for name, call in spoilt(side).items()}
    wrong |= {f"receipt {n}": side.send(RECEIPT, *call).status_code for n, call in spoilt(side).items()}
    print(f"FIGURE sms_hook_tampered tampered={len(wrong)} accepted={sum(one != 401 for one in wrong.values())}")
    assert set(wrong.values()) == {401}, wrong
    assert heard(house) == []
    assert side.signed(INBOUND, inbound("Stop")).status_code == 200  # and the right one is taken


@pytest.mark.parametrize(
    ("changed", "headers"),
    [
        ({"proof": "header", "header": "X-Key"}, lambda body: {"X-Key": SECRET}),
        ({"proof": "basic", "name": "gate"},
         lambda body: {"Authorization": "Basic " + base64.b64encode(f"gate:{SECRET}".encode()).decode()}),
        ({"algorithm": "sha512", "encoding": "base64", "prefix": ""},
         lambda body: {"X-Mark": base64.b64encode(hmac.new(SECRET.encode(), body, "sha512").digest()).decode()}),
    ],
    ids=["header", "basic", "hmac sha512 base64"],
)  # fmt: skip
def test_every_kind_of_proof_opens_and_its_near_misses_do_not(
    house: House, changed: dict[str, str], headers: Callable[[bytes], dict[str, str]]
) -> None:
    side = Side(house, replace(HOOK, **changed))  # type: ignore[arg-type]
    body = json.dumps(inbound("hello")).encode()
    for name, value in headers(body).items():
        for bad in ({}, {name: ""}, {name: value[:-1]}, {name: value + "x"}, {name: value.swapcase()}, {name: "Basic"}):
            assert side.send(INBOUND, body, bad).status_code == 401, bad
    assert side.send(INBOUND, body, headers(body)).status_code == 200


def test_nothing_is_taken_while_no_proof_is_set_or_its_secret_is_missing(house: House) -> None:
    for side in (Side(house, replace(HOOK, proof="off")), Side(house, secret="")):
        assert side.signed(INBOUND, inbound("Stop")).status_code == 404
        assert side.receipt("gw-1", "ON_PHONE").status_code == 404
    assert heard(house) == []


def test_bodies_that_cannot_be_read_are_refused_in_words_and_change_nothing(side: Side, house: House) -> None:
    bad = [b"", b"{", b"[]", b"null", b"\xff\xfe", b'"text"', b"[" * 30_000, b'{"who": ["447700900123"]}',
           b'{"who": NaN}', b'{"who": {"a": 1}, "words": "x"}', b"{}", b"9" * 5000]  # fmt: skip
    for body in bad:
        for path in (INBOUND, RECEIPT):
            answer = side.signed(path, body)
            assert answer.status_code == 400 and answer.get_json()["taken"] is False, body[:40]
    assert side.signed(INBOUND, b'{"who": "' + b"9" * 70_000 + b'"}').status_code == 413
    assert heard(house) == []


def test_a_form_is_read_by_its_names(house: House) -> None:
    hook = replace(HOOK, form="form", receipt=(("id", "name"), ("state", "became")),
                   inbound=(("sender", "who"), ("text", "words")))  # fmt: skip
    side, sent = Side(house, hook), tell(house)
    words = "Grüße & danke + 5 € \U0001f4fb"
    assert side.signed(INBOUND, urlencode({"who": "+447700900123", "words": words}).encode()).status_code == 200
    assert heard(house)[0].text == words
    assert side.signed(RECEIPT, urlencode({"name": sent.provider_id, "became": "ON_PHONE"}).encode()).status_code == 200
    assert row(house, sent.id).delivery == "delivered"
    assert side.signed(INBOUND, b"&".join([b"a=b"] * 500)).status_code == 400


def test_without_a_name_of_its_own_the_same_words_count_again_an_hour_later(house: House) -> None:
    hook = replace(HOOK, inbound=(("sender", "/who"), ("text", "/words")))
    side = Side(house, hook)
    for wait in (0, 60, 3600):
        house.clock.advance(wait)
        assert side.signed(INBOUND, inbound("ok")).status_code == 200
    assert len(heard(house)) == 2


def test_a_call_needs_no_cookie_and_sets_none(side: Side) -> None:
    answer = side.signed(INBOUND, inbound("hello"))
    assert "Set-Cookie" not in answer.headers
    assert side.app.test_client().get(INBOUND, base_url=BASE).status_code == 405


def test_the_desk_shows_what_a_gateway_said_in_words(house: House) -> None:
    side = Side(house)
    sent = tell_ready(house)
    browser = sign_in(side.app, house, role="owner")
    with house.read() as unit:
        ticket = next(iter(tickets.phases_of_visit(unit, sent.visit_id)))
    for became in ("what is this", "NO_SUCH"):
        assert side.receipt(sent.provider_id, became).status_code == 200
        for path in (f"/messages/{sent.id}", f"/tickets/{ticket}", "/messages", "/calls"):
            assert browser.get(path).status_code == 200, (became, path)
        assert became in browser.get(f"/messages/{sent.id}").get_data(as_text=True)


def test_two_shops_that_know_a_number_both_hear_and_each_receipt_finds_its_own(side: Side, house: House) -> None:
    first = tell(house)
    other = House(house.services, house.clock, set_up.make_shop(house.ctx, settings={**SHOP, "name": "Lantern"}), {})
    second = tell(other)
    assert side.receipt(second.provider_id, "ON_PHONE").status_code == 200
    assert (row(house, first.id).delivery, row(other, second.id).delivery) == ("handed_over", "delivered")
    assert side.signed(INBOUND, inbound("stop")).status_code == 200
    assert [one.kind for one in heard(house)] == [one.kind for one in heard(other)] == ["stop"]
    assert side.signed(INBOUND, inbound("hello", who="447700900999", name="in-2")).status_code == 200
    assert (len(heard(house)), len(heard(other))) == (2, 1)  # a stranger's is shown in the first shop
