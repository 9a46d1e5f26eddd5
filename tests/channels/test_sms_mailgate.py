"""The gateway's address: made from the digits of one number and from nothing else."""

from __future__ import annotations

import random
import re

import pytest

from notify.channels.base import Receipt, Verdict, clean
from notify.channels.memory import MemoryChannel
from notify.channels.sms_mailgate import SmsMailgate, gateway_address
from notify.core.errors import Invalid, Misconfigured
from tests.channels.conftest import outgoing

TEMPLATE = "{digits}@sms.example.org"
SPOILERS = [
    "\r\n",
    "\n",
    "\r",
    ",",
    ";",
    " ",
    "@",
    "<",
    ">",
    "\0",
    "{digits}",
    "%0a",
    "\u0661",
    "\uff11",
    "+",
    "-",
    "(",
    "x",
    '"',
    "\\",
]


def test_numbers_good_and_spoilt_never_make_a_bad_address() -> None:
    picks = random.Random(20261125)
    tried = bad = taken = 0
    for _ in range(5000):
        digits = f"447700900{picks.randrange(1000):03d}" if picks.random() < 0.5 else str(picks.randrange(10**17))
        number = f"+{digits}"
        if picks.random() < 0.6:
            place = picks.randrange(len(number) + 1)
            number = number[:place] + picks.choice(SPOILERS) + number[place:]
        tried += 1
        try:
            address = gateway_address(TEMPLATE, number)
        except Invalid:
            continue
        taken += 1
        bad += (
            re.fullmatch(r"[1-9][0-9]{6,14}@sms\.example\.org", address) is None or address.split("@")[0] != number[1:]
        )
    print(f"FIGURE sms_gateway_address numbers_tried={tried} taken={taken} bad_addresses={bad}")
    assert (tried, bad) == (5000, 0)
    assert taken > 1000


@pytest.mark.parametrize(
    "template",
    [
        "",
        "{digits}",
        "@sms.example.org",
        "sms@{digits}.example.org",
        "{digits}{digits}@sms.example.org",
        "{digits}@sms.example.org, eve@example.net",
        "{digits}@sms.example.org\n",
        "{digits.__class__}@sms.example.org",
        "{0}@sms.example.org",
        "%s@sms.example.org",
        "{digits}@{host}",
    ],
)
def test_a_template_that_is_not_one_address_with_one_place_is_refused_at_the_start(template: str) -> None:
    with pytest.raises(Misconfigured) as refused:
        SmsMailgate(MemoryChannel(), template)
    assert refused.value.field == "sms.template"


def test_words_around_the_digits_stay_as_the_gateway_wants_them() -> None:
    assert gateway_address("sms-{digits}-uk@gw.example.net", "+447700900123") == "sms-447700900123-uk@gw.example.net"


def test_the_carrier_gets_the_gateways_address_and_the_same_bytes() -> None:
    carrier = MemoryChannel()
    message = outgoing(to="+447700900123")
    assert SmsMailgate(carrier, TEMPLATE).send(message).verdict is Verdict.ACCEPTED
    (sent,) = carrier.sent
    assert (sent.to, sent.payload, sent.message_id) == (
        "447700900123@sms.example.org",
        message.payload,
        message.message_id,
    )


def test_what_the_carrier_says_is_passed_on() -> None:
    later = Receipt(Verdict.TRY_LATER, "connect-refused")
    gate = SmsMailgate(MemoryChannel(lambda _: later), TEMPLATE)
    assert gate.send(outgoing(to="+447700900123")) == later


@pytest.mark.parametrize(
    "said",
    [
        "5.1.1 <pat.lee@example.org>: Recipient address rejected",
        "pat.lee@example.org",
        "user PAT.LEE unknown",
        "to=<Pat.Lee@EXAMPLE.ORG>, relay=x",
        "5.1.1 pat.lee\r\nsecond line",
        "try +44 7700 900123 or 07700900123",
        "kim@example.net and pat.lee",
    ],
)
def test_no_address_or_number_survives_in_what_is_kept_of_an_answer(said: str) -> None:
    kept = clean(said, to="pat.lee@example.org")
    assert not re.search(r"@|pat\.lee|7700|kim|[\r\n]", kept, re.IGNORECASE)
    assert len(kept) <= 200


def test_codes_and_reasons_survive() -> None:
    assert (
        clean("5.7.1 Message 12 refused: see rule 4.2", to="al@example.org") == "5.7.1 Message 12 refused: see rule 4.2"
    )
