"""Settings of gateways for text messages: what is refused before anything starts, and what is only warned of."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from notify.config.checks import check
from notify.config.first_setup import write_first_installation
from notify.config.load import load, read

NOW = datetime(2026, 12, 1, 9, tzinfo=UTC)
BODY = """body = '{"to": "{to}", "text": "{text}", "ref": "{id}"}'"""
HTTP = f'[sms]\ntransport = "http"\n[sms.http]\naddress = "https://gateway.quillhaven.net/send"\n{BODY}\n'
HOOK = '[web]\npublic_url = "https://bell.example.org"\nbehind_tls = true\ntrusted_proxies = 1\n[sms.hook]\n'
GOOD_HOOK = HOOK + 'proof = "hmac"\nheader = "X-Mark"\nsecret_file = "s"\nreceipt = {id = "/a", state = "/b"}\n'

REFUSED: dict[str, tuple[str, str]] = {
    "nowhere to hand over": ("sms.http.address", f'[sms]\ntransport = "http"\n[sms.http]\n{BODY}'),
    "nothing to hand over": ("sms.http.body", HTTP.replace(BODY, "")),
    "a body that is no JSON": ("sms.http.body", HTTP.replace(BODY, 'body = "to={to}&text={text}"')),
    "a body without the text": ("sms.http.body", HTTP.replace("{text}", "hello")),
    "a body without the number": ("sms.http.body", HTTP.replace("{to}", "me")),
    "a place nobody fills": ("sms.http.body", HTTP.replace("{id}", "{name}")),
    "a place half open": ("sms.http.body", HTTP.replace("{id}", "{id")),
    "a form with a number in it": ("sms.http.body", HTTP.replace('"{id}"', "7") + 'form = "form"'),
    "a secret header in the settings": ("sms.http.headers", HTTP + 'headers = {Authorization = "Bearer abc"}'),
    "a header of two lines": ("sms.http.headers", HTTP + r'headers = {X-A = "a\r\nX-B: c"}'),
    "a header that moves the host": ("sms.http.headers", HTTP + 'headers = {hoST = "another.example.org"}'),
    "a header with the number": ("sms.http.headers", HTTP + 'headers = {X-To = "{to}"}'),
    "a secret in the settings": ("sms.http.secret", HTTP + 'secret = "abc"'),
    "signing in without a secret": ("sms.http.secret_file", HTTP + 'sign_in = "header"'),
    "signing in without a name": ("sms.http.sign_in_name", HTTP + 'sign_in = "basic"\nsecret_file = "s"'),
    "a name with a colon": (
        "sms.http.sign_in_name",
        HTTP + 'sign_in = "basic"\nsecret_file = "s"\nsign_in_name = "a:b"',
    ),
    "a bad status that is good": ("sms.http.good_statuses", HTTP + "good_statuses = [302]"),
    "no good status": ("sms.http.good_statuses", HTTP + "good_statuses = []"),
    "a pointer that is none": ("sms.http.id_field", HTTP + 'id_field = "/a~2"'),
    "a state of nobody": ("sms.http.states", HTTP + 'states = {OK = "arrived"}'),
    "an answer of nobody": ("sms.http.answers", HTTP + 'answers = {E1 = "perhaps"}'),
    "a GET, which writes the text into logs": ("sms.http.method", HTTP + 'method = "GET"'),
    "a hook without a secret": ("sms.hook.secret_file", GOOD_HOOK.replace('secret_file = "s"\n', "")),
    "a signature in no header": ("sms.hook.header", GOOD_HOOK.replace('header = "X-Mark"\n', "")),
    "a hook without a name": ("sms.hook.name", GOOD_HOOK.replace('"hmac"', '"basic"')),
    "a hook that reads nothing": ("sms.hook.receipt", GOOD_HOOK.replace('receipt = {id = "/a", state = "/b"}\n', "")),
    "a receipt without a state": ("sms.hook.receipt", GOOD_HOOK.replace(', state = "/b"', "")),
    "an old hash": ("sms.hook.algorithm", GOOD_HOOK + 'algorithm = "md5"'),
    "a modem at no port": ("sms.modem.device", '[sms]\ntransport = "modem"'),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_a_gateway_that_cannot_work_or_is_unsafe_is_refused_with_its_setting_and_cure(name: str) -> None:
    key, text = REFUSED[name]
    problems = read(text, folder=Path("/nowhere")).problems
    assert key in {one.field for one in problems}, problems
    assert all(one.advice and "abc" not in str(one) for one in problems)


TAKEN = [
    HTTP,
    GOOD_HOOK,
    HTTP + 'answers = {"4xx" = "never", "E 1" = "bad_number"}',
    HTTP + 'headers = {"X-Once" = "{id}"}\nid_field = "/a~1b/0"\ncode_field = "code"',
]


@pytest.mark.parametrize("text", TAKEN)
def test_a_gateway_that_can_work_is_taken(text: str) -> None:
    assert not read(text, folder=Path("/nowhere")).problems


def test_no_carrier_or_gateway_is_filled_in_beforehand() -> None:
    settings = read("", folder=Path("/nowhere")).settings
    assert settings.sms.transport == "off"
    assert (settings.sms.template, settings.sms_http.address, settings.sms_hook.proof) == ("", "", "off")


@pytest.fixture
def config(tmp_path: Path) -> Path:
    return write_first_installation(tmp_path / "bell", public_url="", random_bytes=os.urandom)


def found(config: Path, text: str) -> dict[str, bool]:
    """Setting -> whether it refuses, of everything that the look at the machine finds about text messages."""
    config.write_text(text)
    return {one.key: one.refuses for one in check(load(config), now=NOW, file=config) if one.key.startswith("sms.")}


def test_an_email_gateway_is_warned_of_and_starts(config: Path) -> None:
    assert found(config, '[sms]\ntransport = "mailgate"\ntemplate = "{digits}@sms.quillhaven.net"') == {
        "sms.transport": False
    }


def test_secrets_of_gateways_must_be_files_of_their_owner(config: Path) -> None:
    text = HTTP + 'sign_in = "header"\nsecret_file = "key"\nca_file = "nothing.pem"'
    secret = config.parent / "key"
    assert found(config, text) == {"sms.http.secret_file": True, "sms.http.ca_file": True}
    secret.write_text("Token 0123456789abcdef\n")
    secret.chmod(0o644)
    assert found(config, text)["sms.http.secret_file"] is True
    secret.chmod(0o600)
    assert found(config, text) == {"sms.http.ca_file": True}


def test_a_hook_needs_a_secret_worth_its_name_and_an_address(config: Path) -> None:
    secret = config.parent / "s"
    secret.write_text("short\n")
    secret.chmod(0o600)
    assert found(config, GOOD_HOOK) == {"sms.hook.secret_file": True}
    secret.write_text("quill-and-lantern-4-harbour\n")
    assert found(config, GOOD_HOOK) == {}
    assert found(config, GOOD_HOOK[GOOD_HOOK.index("[sms") :]) == {"sms.hook.proof": False}


def test_a_modem_that_is_not_plugged_in_is_only_warned_of(config: Path) -> None:
    text = '[sms]\ntransport = "modem"\n[sms.modem]\ndevice = "/dev/no-such-modem"'
    assert found(config, text)["sms.modem.device"] is False


def test_messages_that_leave_while_nobody_reads_the_answers_are_warned_of(config: Path) -> None:
    """47 CFR 64.1200(a)(10): any reasonable way of saying stop counts, so somebody has to read it."""
    mail = '[mail]\ntransport = "smtp"\nhost = "127.0.0.1"\nsecurity = "none"\nsender_address = "bench@example.org"\n'
    for text, warned in ((mail, [False]), ('[mail]\ntransport = "folder"\n', [])):
        config.write_text(text)
        looked = check(load(config), now=NOW, file=config)
        assert [one.refuses for one in looked if one.key == "inbox.transport"] == warned
