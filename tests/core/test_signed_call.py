"""Signed calls: our signatures are those of other people's code, and nothing that was touched is let in."""

from __future__ import annotations

import base64
import random
import time
from datetime import UTC, datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from notify.core import signed_call
from notify.core.errors import Invalid
from notify.core.signed_call import Refusal, headers, new_secret, read_secret, sign, verify
from tests.parts.tampered import OTHER, mutation, signed, spoilt

SECRET = "whsec_" + base64.b64encode(b"quill-and-lantern-over-the-harbour").decode()
KEY = read_secret(SECRET)
BODY = b'{"job": "K7M-2X9T", "where": "on the bench"}'
NOW = 1_795_600_000


def test_the_published_case_gives_the_published_signature() -> None:
    # github.com/standard-webhooks/standard-webhooks, libraries/go/webhook_test.go, TestWebhookSign.
    key = read_secret("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw")
    made = sign(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1614265330, b'{"test": 2432232314}')
    assert made == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


_IDS = st.text(st.characters(min_codepoint=33, max_codepoint=126, exclude_characters="."), min_size=1, max_size=60)


@settings(max_examples=60)
@given(key=st.binary(min_size=24, max_size=64), call_id=_IDS, body=st.text(max_size=300))
def test_the_other_implementation_takes_what_we_sign_and_we_take_what_it_signs(
    key: bytes, call_id: str, body: str
) -> None:
    # PyPI standardwebhooks, which looks at the machine's clock.
    now, octets = int(time.time()), body.encode("utf-8", "replace")
    theirs = Webhook(new_secret(key))
    theirs.verify(octets, headers([key], call_id, now, octets), json_parse=False)
    mark = theirs.sign(call_id, datetime.fromtimestamp(now, UTC), octets.decode())
    told = {signed_call.ID: call_id, signed_call.TIME: str(now), signed_call.SIGNATURE: mark}
    assert verify([key], told, octets, now=now) is None
    with pytest.raises(WebhookVerificationError):
        theirs.verify(octets + b"x", headers([key], call_id, now, octets), json_parse=False)


def test_while_keys_are_changed_either_lets_in_and_a_third_does_not() -> None:
    old, new = read_secret(OTHER), KEY
    both = headers([old, new], "msg_1", NOW, BODY)
    for known in ([old], [new], [new, old]):
        assert verify(known, both, BODY, now=NOW) is None
    assert verify([b"x" * 24], both, BODY, now=NOW) is Refusal.FORGED
    assert verify([], both, BODY, now=NOW) is Refusal.FORGED


def test_a_signature_of_another_kind_beside_ours_is_passed_over() -> None:
    # The text's own example of the header holds a v1a beside the v1.
    told, _ = signed(SECRET, BODY, at=NOW)
    told[signed_call.SIGNATURE] = f"v1a,hnO3f9T8Ytu9HwrXslvumlUpqtNVqkhqw/enGzPCXe5Bdg== {told[signed_call.SIGNATURE]}"
    assert verify([KEY], told, BODY, now=NOW) is None


@pytest.mark.parametrize(("off", "found"), [
    (-300, None), (300, None), (-301, Refusal.OLD), (301, Refusal.EARLY), (-10**9, Refusal.OLD),
])  # fmt: skip
def test_the_window_is_five_minutes_either_way(off: int, found: Refusal | None) -> None:
    told, body = signed(SECRET, BODY, at=NOW + off)
    assert verify([KEY], told, body, now=NOW) is found


def test_so_many_signatures_are_looked_at_and_no_more() -> None:
    told, body = signed(SECRET, BODY, at=NOW)
    marks = [told[signed_call.SIGNATURE], *(f"v1a,{'x' * 86}==" for _ in range(signed_call.MOST_SIGNATURES))]
    assert verify([KEY], told | {signed_call.SIGNATURE: " ".join(marks[:-1])}, body, now=NOW) is None
    assert verify([KEY], told | {signed_call.SIGNATURE: " ".join(marks)}, body, now=NOW) is Refusal.ODD


def test_nothing_that_was_touched_is_let_in() -> None:
    calls = spoilt(SECRET, BODY, at=NOW)
    let_in = [name for name, (told, body) in calls.items() if verify([KEY], told, body, now=NOW) is None]
    told, body = signed(SECRET, BODY, at=NOW)
    assert verify([KEY], told, body, now=NOW) is None
    assert (len(calls) >= 60, let_in) == (True, [])


def test_no_random_change_of_a_call_is_let_in() -> None:
    chance, good = random.Random(7), signed(SECRET, BODY, at=NOW)
    changed = [one for one in (mutation(chance, good) for _ in range(2000)) if one != good]
    let_in = [one for one in changed if verify([KEY], one[0], one[1], now=NOW) is None]
    print(f"FIGURE signed_call_mutations mutations={len(changed)} accepted={len(let_in)}")
    assert let_in == []


@pytest.mark.parametrize("text", ["", "whsec_", "whsec_!!!!", "quill-and-lantern-4-harbour", SECRET + "\n" + SECRET,
    "whsec_" + base64.b64encode(b"x" * 23).decode(), "whsec_" + base64.b64encode(b"x" * 65).decode(), "whsec_A",
    SECRET.replace("whsec_", "whsk_")])  # fmt: skip
def test_what_is_no_key_is_refused_and_never_quoted(text: str) -> None:
    with pytest.raises(Invalid) as refused:
        read_secret(text)
    assert not text or text[6:] == "" or text not in str(refused.value)


def test_a_key_may_stand_with_or_without_its_padding() -> None:
    assert read_secret(SECRET.rstrip("=") + "\n") == read_secret(SECRET)
    for octets in (24, 64):
        assert len(read_secret(new_secret(b"k" * octets))) == octets


def test_we_never_make_a_call_that_no_receiver_would_take() -> None:
    for call_id in ("", "a.b", "a b", "\xe4", "x" * 201):
        with pytest.raises(ValueError):
            headers([KEY], call_id, NOW, BODY)
    for octets in (0, 23, 65):
        with pytest.raises(ValueError):
            new_secret(b"x" * octets)
