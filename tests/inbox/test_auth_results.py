"""Who proved a letter: RFC 8601 (the field, and whose word counts), RFC 7489 (DMARC), RFC 6376 3.5 (d= and i=).

The first examples are those of RFC 8601, Appendix B (from memory, with our invented names).
"""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.inbox.auth_results import LONGEST, is_proved
from notify.inbox.letter import read_letter
from tests.parts.letters import letter

SERVER, PAT = "mx.shop.example", "pat@cust.example"

PROVED = {
    "dmarc": "dmarc=pass header.from=cust.example",
    "dmarc with policies in comments": "dmarc=pass (p=NONE sp=QUARANTINE dis=NONE) header.from=cust.example",
    "dmarc in capitals": "DMARC=Pass Header.From=CUST.example",
    "dmarc after others": "spf=fail smtp.mailfrom=x@y.example; dkim=fail header.d=y.example; dmarc=pass "
    "header.from=cust.example",
    "a null sender before it": "spf=pass smtp.mailfrom=<>; dmarc=pass header.from=cust.example",
    "a semicolon within a quote": 'dkim=fail reason="old; key" header.d=y.example; dmarc=pass header.from=cust.example',
    "a semicolon at the end": "dmarc=pass header.from=cust.example;",
    "an address that was looked up": "iprev=pass policy.iprev=192.0.2.1 (mail.cust.example); dmarc=pass "
    "header.from=cust.example",
    "dkim of the domain": "dkim=pass (good signature) header.d=cust.example",
    "dkim of the domain above": "dkim=pass header.d=example.org",
    "dkim by its agent only": "dkim=pass header.i=@cust.example header.s=s1 header.b=abc/de+=",
    "a good signature beside a bad one": 'dkim=fail reason="bad sig" header.d=list.example; dkim=pass '
    "header.d=cust.example",
    "a version": "dkim/1=pass header.d=cust.example",
    "space around the signs": "dkim = pass header . d = cust.example",
}
SENDERS = {"dkim of the domain above": "pat@mail.example.org"}

NOT_PROVED = {
    "none": "none",
    "nothing": "",
    "dmarc failed": "dmarc=fail header.from=cust.example",
    "dmarc failed although a signature is good": "dkim=pass header.d=cust.example; dmarc=fail header.from=cust.example",
    "dmarc for nobody": "dmarc=pass",
    "dmarc for another": "dmarc=pass header.from=other.example",
    "dmarc for a domain above": "dmarc=pass header.from=example",
    "two words about dmarc": "dmarc=fail header.from=cust.example; dmarc=pass header.from=cust.example",
    "two words about dmarc, the good one first": "dmarc=pass header.from=cust.example; dmarc=fail "
    "header.from=cust.example",
    "dkim failed": "dkim=fail header.d=cust.example",
    "dkim of another": "dkim=pass header.d=other.example",
    "dkim of a domain below": "dkim=pass header.d=evil.cust.example",
    "dkim of a name that only ends alike": "dkim=pass header.d=ust.example",
    "dkim of a whole country": "dkim=pass header.d=example",
    "dkim of no domain": 'dkim=pass header.d="" header.i=@cust.example',
    "dkim of something that is no domain": 'dkim=pass header.d="evil.example@cust.example"',
    "spf alone": "spf=pass smtp.mailfrom=pat@cust.example",
    "said within a quote": 'spf=pass smtp.mailfrom="a; dmarc=pass header.from=cust.example"@evil.example',
    "said within a reason": 'dkim=fail reason="; dkim=pass header.d=cust.example" header.d=evil.example',
    "said within a comment": "spf=fail (; dmarc=pass header.from=cust.example)",
    "said within an open comment": "spf=fail (x; dmarc=pass header.from=cust.example",
    "said by another chain": "arc=pass (i=1 dmarc=pass fromdomain=cust.example); dmarc=fail header.from=cust.example",
    "two domains": "dkim=pass header.d=evil.example header.d=cust.example",
    "a part that cannot be read": "what is this; dmarc=pass header.from=cust.example",
    "another version of the method": "dkim/2=pass header.d=cust.example",
    "a method that only looks alike": "x-dmarc=pass header.from=cust.example",
}


@pytest.mark.parametrize("name", PROVED)
def test_a_sender_is_proved_by_our_own_servers_word(name: str) -> None:
    sender = SENDERS.get(name, PAT)
    field = f"{SERVER}; {PROVED[name]}"
    assert is_proved([field], authserv_id=SERVER, sender=sender)
    assert is_proved([field.replace(SERVER, f"{SERVER.upper()} 1")], authserv_id=SERVER, sender=sender.upper())
    assert not is_proved([field], authserv_id="mx.other.example", sender=sender)
    assert not is_proved([field], authserv_id="", sender=sender)
    assert not is_proved([field], authserv_id=SERVER, sender="pat@elsewhere.example")
    assert not is_proved([field], authserv_id=SERVER, sender="")


@pytest.mark.parametrize("name", NOT_PROVED)
def test_a_sender_is_not_proved_by_less(name: str) -> None:
    assert not is_proved([f"{SERVER}; {NOT_PROVED[name]}"], authserv_id=SERVER, sender=PAT)


GOOD = f"{SERVER}; dmarc=pass header.from=cust.example"
BAD = f"{SERVER}; dmarc=fail header.from=cust.example"


def proved(*fields: str, before: str = "") -> bool:
    head = before + "".join(f"Authentication-Results: {field}\r\n" for field in fields)
    return read_letter(head.encode() + letter(sender=PAT)).proved_for(PAT, authserv_id=SERVER)


def test_of_several_fields_only_our_topmost_counts() -> None:
    """What a sender wrote stands below what the server that took the letter put on top (RFC 8601 4, 5)."""
    assert proved(GOOD) and proved(GOOD, BAD)
    assert not proved(BAD, GOOD) and not proved(f"{SERVER}; none", GOOD)
    assert proved("mx.other.example; dmarc=fail", GOOD)
    assert not proved("mx.other.example; dmarc=pass header.from=cust.example")


def test_a_field_too_long_to_be_read_hides_no_forged_one_below_it() -> None:
    long = BAD + "; dkim=fail header.d=a.example" * 400
    assert len(long) > LONGEST and not proved(long, GOOD)


@pytest.mark.parametrize(
    "forged",
    [
        "ARC-Authentication-Results: i=1; " + GOOD,
        "X-Authentication-Results: " + GOOD,
        "Authentication-Results-Original: " + GOOD,
        "Subject: x\r\n\r\nAuthentication-Results: " + GOOD,
        "Content-Type: message/rfc822\r\n\r\nAuthentication-Results: " + GOOD,
    ],
)
def test_what_stands_in_another_field_or_in_the_body_proves_nothing(forged: str) -> None:
    assert not proved(before=f"From: {PAT}\r\n{forged}\r\n")


@pytest.mark.parametrize(
    "value",
    ["(" * 3900, "(" * 1900 + ")" * 1900, '; a=b reason="' + '\\"' * 1900, "; a=b" * 750,
"; dkim=pass" + " h.d=a" * 600,
     '; a="' + '"a' * 1900, ";" + " " * 3900, "; a " + " " * 3800 + "x", "; " + "a ." * 1200, "; a=" + "b" * 3900],
)  # fmt: skip
def test_a_hostile_field_costs_no_more_than_its_length(value: str) -> None:
    began = time.process_time()
    assert not is_proved([SERVER + value] * 20, authserv_id=SERVER, sender=PAT)
    assert time.process_time() - began < 1  # five milliseconds here; with the square of the length it would be a minute


@given(st.text(alphabet='mx.shop example;="\\()/ dkimarc=pass header.from', max_size=120))
@settings(max_examples=500, deadline=None)
def test_nothing_but_a_whole_result_proves_anybody(tail: str) -> None:
    """The only ways to be proved need the domain to be named, and this alphabet cannot spell it."""
    assert not is_proved([f"{SERVER};{tail}"], authserv_id=SERVER, sender="pat@quiz.test")
