"""The link that stops one kind of message: it names one use, nobody can make one up, and it fits into a header line.

Sources: RFC 8058 3.1 (hard to forge, names reader and list), RFC 2104 (the check), RFC 4648 5 (its letters).
"""

from __future__ import annotations

import base64
import uuid
from itertools import product

import pytest

from notify.core.errors import Invalid
from notify.core.notices import CONSENT_PURPOSES, PURPOSES, REACH_CHANNELS
from notify.core.one_click import Use, make_stop_token, read_stop_token

KEY, OTHER = b"k" * 32, b"o" * 32
PERSON = str(uuid.UUID(int=7))
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"


@pytest.mark.parametrize(("channel", "purpose"), list(product(REACH_CHANNELS, CONSENT_PURPOSES)))
def test_a_token_names_its_person_channel_and_purpose_and_no_other(channel: str, purpose: str) -> None:
    use = Use(PERSON, channel, purpose)
    assert read_stop_token(make_stop_token(use, key=KEY), key=KEY) == use
    assert read_stop_token(make_stop_token(use, key=OTHER), key=KEY) is None


def test_each_use_of_each_person_has_a_token_of_its_own_that_ends_in_a_letter() -> None:
    """Programs that make links of text may leave a sign at the end out."""
    uses = [
        Use(str(uuid.UUID(int=n)), channel, purpose)
        for n, channel, purpose in product(range(300), REACH_CHANNELS, CONSENT_PURPOSES)
    ]
    tokens = {make_stop_token(use, key=KEY) for use in uses}
    assert len(tokens) == len(uses)
    assert all(len(token) == 36 and set(token) <= set(LETTERS) and token[-1].isalpha() for token in tokens)


@pytest.mark.parametrize(("channel", "purpose"), [*product(REACH_CHANNELS, PURPOSES), ("call", "afterwards")])
def test_what_needs_no_consent_has_no_link(channel: str, purpose: str) -> None:
    with pytest.raises(Invalid):
        make_stop_token(Use(PERSON, channel, purpose), key=KEY)


def test_no_changed_sign_no_cut_and_no_other_code_opens_anything() -> None:
    token, opened, tried = make_stop_token(Use(PERSON, "email", "afterwards"), key=KEY), 0, 0
    for at, sign in product(range(len(token)), LETTERS):
        changed = f"{token[:at]}{sign}{token[at + 1 :]}"
        if changed != token:
            tried, opened = tried + 1, opened + (read_stop_token(changed, key=KEY) is not None)
    data = base64.urlsafe_b64decode(token)
    for code in range(256):
        if code != data[-1]:
            changed = base64.urlsafe_b64encode(data[:-1] + bytes([code])).decode()
            tried, opened = tried + 1, opened + (read_stop_token(changed, key=KEY) is not None)
    for odd in (
        "",
        token[:-1],
        f"{token}A",
        f"{token}=",
        token.lower(),
        "é" * 36,
        "=" * 36,
        "\0" * 36,
        " " + token[1:],
    ):
        tried, opened = tried + 1, opened + (read_stop_token(odd, key=KEY) is not None)
    print(f"FIGURE one_click_forged tried={tried} opened={opened}")
    assert tried > 2000 and opened == 0


def test_the_token_shows_nothing_about_anybody_but_a_number_that_is_chance() -> None:
    """Its 27 octets are the row's random identifier, the check and the code: no address, name or text has room."""
    data = base64.urlsafe_b64decode(make_stop_token(Use(PERSON, "sms", "afterwards"), key=KEY))
    assert data[:16] == uuid.UUID(PERSON).bytes and len(data) == 27


def test_an_identifier_that_is_none_is_refused() -> None:
    with pytest.raises(Invalid):
        make_stop_token(Use("pat@example.org", "email", "afterwards"), key=KEY)
