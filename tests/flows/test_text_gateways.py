"""A text message from check-in to what came of it, through each way as the settings wire it."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from pathlib import Path
from typing import Any

import pytest

from notify import wiring
from notify.channels.base import Channel, Outgoing, Receipt, Verdict
from notify.channels.http_call import Caller
from notify.channels.http_target import target
from notify.channels.memory import MemoryChannel
from notify.channels.sms_http import HttpSms
from notify.channels.sms_mailgate import SmsMailgate
from notify.channels.sms_modem import Stored
from notify.config.first_setup import write_first_installation
from notify.config.load import load
from notify.flows import set_up, view_gateway
from notify.inbox.modem import read_modem
from notify.store import messages, replies
from notify.store.messages import Message
from tests.channels.test_sms_http import TOLD
from tests.parts import gateway as other
from tests.parts.clock import FakeClock
from tests.parts.databases import Backend
from tests.parts.gateway import Gateway, answer, taken
from tests.parts.house import SHOP, House, make_house
from tests.parts.modem import ScriptedModem

NUMBER = "+447700900123"
Make = Callable[..., House]


@pytest.fixture
def make(backend: Backend, clock: FakeClock, tmp_path: Path, tzdata_only: None) -> Iterator[Make]:
    """An installation with this way for text messages."""
    made: list[House] = []

    def start(sms: Any) -> House:
        made.append(make_house(tmp_path, backend.url, clock=clock, channels={"email": MemoryChannel(), "sms": sms}))
        return made[-1]

    yield start
    for one in made:
        one.services.close()


def texts(house: House) -> list[Message]:
    with house.read() as unit:
        return [one for one in messages.list_messages(unit) if one.channel == "sms"][::-1]


@pytest.mark.real
def test_settings_alone_wire_a_gateway_by_http_and_what_it_says_is_kept(tmp_path: Path, clock: FakeClock) -> None:
    gateway = Gateway(taken("gw-77"))
    config = write_first_installation(
        tmp_path / "bell", public_url="https://bell.example.org", random_bytes=random.Random(3).randbytes,
        changed={"sms.transport": "http", "sms.http.address": f"http://127.0.0.1:{gateway.port}/send",
                 "sms.http.this_machine": True, "sms.http.body": other.BODY, "sms.http.good_field": "/verdict",
                 "sms.http.good_value": "ok", "sms.http.id_field": "/ours/name", "sms.http.sign_in": "header",
                 "sms.http.secret_file": "keys/gateway"},
    )  # fmt: skip
    hook = 'proof = "header"\nheader = "X-Key"\nsecret_file = "keys/hook"\nreceipt = {id = "/a", state = "/b"}\n'
    config.write_text(config.read_text().replace("[sms.hook]\n", f"[sms.hook]\n{hook}"))
    for name in ("hook", "gateway"):
        (config.parent / "keys" / name).write_text("Token quill-and-lantern-4\n")
        (config.parent / "keys" / name).chmod(0o600)
    services = wiring.build(load(config), clock=clock, upgrade=True)
    try:
        assert isinstance(services.channels["sms"], HttpSms)
        assert "quill-and-lantern" not in repr(services)
        house = House(services, clock, set_up.make_shop(services.context, settings=SHOP), {})
        house.check_in(email="")
        house.deliver(after=91)
        (sent,) = texts(house)
    finally:
        services.close()
        gateway.stop()
    assert (sent.state, sent.delivery, sent.provider_id, sent.parts) == ("sent", "handed_over", "gw-77", 1)
    (request,) = gateway.requests
    assert request.headers["authorization"] == "Token quill-and-lantern-4"
    told = request.told()
    assert told["recipient"] == NUMBER
    assert told["tell"]["at"] == "https://bell.example.org/hooks/sms/receipt"
    assert told["mark"] == sent.message_id.strip("<>").partition("@")[0]
    assert told["words"].startswith("Tramstop Bench: ")


@pytest.mark.real
def test_a_gateway_that_is_down_gets_the_same_octets_later_and_a_bad_number_ends_in_a_call(make: Make) -> None:
    gateway = Gateway(answer(503))
    place = target(f"http://127.0.0.1:{gateway.port}/", this_machine=True)
    house = make(HttpSms(replace(TOLD, answers={"E21": "bad_number"}), Caller(place, patience=2, most=4096)))
    try:
        house.check_in(email="")
        house.deliver(after=91)
        assert [(one.state, one.attempts) for one in texts(house)] == [("waiting", 1)]
        house.deliver(after=3600)
        gateway.says = answer(400, '{"trouble": "E21"}')
        house.deliver(after=3600)
        assert texts(house)[0].state == "given_up"
        assert len({(one.body, one.headers["x-once"]) for one in gateway.requests}) == 1
        assert len(gateway.requests) >= 3
    finally:
        gateway.stop()


def test_the_email_gateway_is_written_to_from_the_address_it_knows(tmp_path: Path, clock: FakeClock) -> None:
    # `sms.sender` is the envelope's and the header's sender of text messages, and of nothing else.
    config = write_first_installation(
        tmp_path / "bell", public_url="", random_bytes=random.Random(4).randbytes,
        changed={"sms.transport": "mailgate", "sms.template": "{digits}@sms.example.org",
                 "sms.sender": "known@example.net", "mail.sender_address": "counter@example.org"},
    )  # fmt: skip
    mail = MemoryChannel()
    ways: dict[str, Channel] = {"email": mail, "sms": SmsMailgate(mail, "{digits}@sms.example.org")}
    services = wiring.build(load(config), clock=clock, channels=ways, upgrade=True)
    try:
        house = House(services, clock, set_up.make_shop(services.context, settings=SHOP), {})
        house.check_in(email="")
        house.check_in(phone="", name="Noor Vale")
        house.deliver(after=91)
    finally:
        services.close()
    by_text = [one for one in mail.sent if one.to == "447700900123@sms.example.org"]
    by_mail = [one for one in mail.sent if one.to == "ines@example.org"]
    assert [one.sender for one in by_text] == ["known@example.net"]
    assert "known@example.net" in str(message_from_bytes(by_text[0].payload)["From"])
    assert [one.sender for one in by_mail] == ["counter@example.org"]


def test_a_gateway_that_calls_every_message_the_same_makes_none_leave_twice_and_moves_none(make: Make) -> None:
    """`sms.http.id_field` may be set to a field that is always the same: what left must be settled nevertheless."""
    way = MemoryChannel(lambda outgoing: Receipt(Verdict.ACCEPTED, "http-200", provider_id="queued"))
    house = make(SmsMailgate(way, "{digits}@sms.example.org"))
    for n in range(3):
        house.check_in(email="", phone=f"07700 90012{n}")
    house.deliver(after=91)
    house.deliver(after=3600)
    assert [str(one.state) for one in texts(house)] == ["sent"] * 3 and len(way.offered) == 3
    shops = [house.shop_id]
    assert view_gateway.find_sent(house.ctx, shops, provider_id="queued", reference="") is None
    one = texts(house)[1]
    reference = one.message_id.strip("<>").partition("@")[0]
    found = view_gateway.find_sent(house.ctx, shops, provider_id="queued", reference=reference)
    assert found is not None and found.message_id == one.id


def test_a_text_message_waits_unharmed_while_its_way_is_changed(make: Make, backend: Backend) -> None:
    modem = ScriptedModem()
    house = make(modem.channel())
    house.check_in(email="")
    house.deliver(after=91)
    (sent,) = texts(house)
    with house.read() as unit:
        sentence, kept = messages.get_sentence(unit, sent), messages.get_bytes(unit, sent)
    assert modem.texts() == [sentence]
    # What is kept is a mail, so that an e-mail gateway could take it over as it is.
    carrier = MemoryChannel()
    moved = Outgoing(sent.message_id, NUMBER, "counter@example.org", kept)
    assert SmsMailgate(carrier, "{digits}@sms.example.org").send(moved).verdict is Verdict.ACCEPTED
    assert carrier.sent[0].to == "447700900123@sms.example.org"


def test_what_somebody_writes_to_the_sim_is_heard_once_and_then_dropped(make: Make) -> None:
    modem = ScriptedModem()
    house = make(modem.channel())
    house.check_in(email="")
    house.deliver(after=91)
    at = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    stop = Stored(1, NUMBER, "STOP", at)
    modem.store = [stop, Stored(2, "60006", "Your balance is low", at)]
    assert read_modem(house.services) == 2
    assert modem.store == []
    modem.store = [stop]  # as when the power fails between commit and dropping
    assert read_modem(house.services) == 0
    assert modem.store == []
    with house.read() as unit:
        kinds = sorted(one.kind for one in replies.list_replies(unit, limit=10))
    assert kinds == ["other", "stop"]
    modem.broken = True
    assert read_modem(house.services) == 0


def test_a_text_that_trips_the_program_is_shown_unread_and_the_next_one_is_taken(make: Make) -> None:
    modem = ScriptedModem()
    house = make(modem.channel())
    house.check_in(email="")
    at = datetime(2026, 11, 25, 8, 50, tzinfo=UTC)
    modem.store = [Stored(1, NUMBER, "first", at), Stored(2, NUMBER, "half \ud83d", at + timedelta(minutes=1))]
    asked = itertools.count(1)

    def clock() -> datetime:
        if next(asked) == 2:  # the first look is for parts that wait, the second in the flow that hears
            raise ZeroDivisionError
        return house.clock()

    assert read_modem(replace(house.services, context=replace(house.ctx, clock=clock))) == 2
    assert modem.store == []
    with house.read() as unit:
        told = [(one.subject, one.text, bool(one.person_id)) for one in replies.list_replies(unit, limit=10)]
    assert told == [("", "half \ufffd", True), ("A text message that could not be read", "", False)]
