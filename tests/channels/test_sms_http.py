"""The generic HTTP gateway against an invented one on loopback: what leaves, and what each answer means."""

from __future__ import annotations

import json
import os
import socket
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import pytest

from notify.channels.base import Outgoing, Verdict
from notify.channels.http_call import Caller
from notify.channels.http_target import target
from notify.channels.sms_http import Gateway as Told
from notify.channels.sms_http import HttpSms, sign_in_headers
from notify.core.errors import Misconfigured
from notify.render.email import Mailbox, compose_mail
from tests.parts import gateway as other
from tests.parts.certificates import Certificates, make_certificates
from tests.parts.gateway import NAME, Gateway, answer, taken

pytestmark = pytest.mark.real
NUMBER = "+447700900123"
TOLD = Told(
    method="POST", form="json", body=other.BODY, headers=(("X-Once", "{id}"),),
    callback="https://bell.example.org/hooks/sms/receipt", good_statuses=(200, 201), good_field="/verdict",
    good_value="ok", id_field="/ours/name", code_field="/trouble", answers={},
)  # fmt: skip
Make = Callable[..., tuple[HttpSms, Gateway]]


@pytest.fixture
def make() -> Iterator[Make]:
    """Starts a gateway that says so, and a channel that is set up for it."""
    started: list[Gateway] = []

    def start(says: Any = None, *, patience: float = 2.0, most: int = 4096, **changed: Any) -> tuple[HttpSms, Gateway]:
        started.append(Gateway(says))
        place = target(f"http://127.0.0.1:{started[-1].port}/send?shop=7", this_machine=True)
        return HttpSms(replace(TOLD, **changed), Caller(place, patience=patience, most=most)), started[-1]

    yield start
    for one in started:
        one.stop()


def text_message(text: str = "Your radio is ready.", *, to: str = NUMBER) -> Outgoing:
    """A text message as the composer keeps it."""
    name = "<9b2c.sms.c0ffee00.0@example.org>"
    payload = compose_mail(
        sender=Mailbox("", "bench@example.org"), to="447700900123@sms.invalid", reply_to=None, subject="", text=text,
        html=None, message_id=name, date=datetime(2026, 11, 27, tzinfo=UTC), language="en",
    )  # fmt: skip
    return Outgoing(name, to, "bench@example.org", payload)


def test_each_field_arrives_in_its_place_as_it_was_written(make: Make) -> None:
    channel, gateway = make()
    receipt = channel.send(text_message())
    assert (receipt.verdict, receipt.code, receipt.provider_id) == (Verdict.ACCEPTED, "http-201", "gw-1")
    (got,) = gateway.requests
    assert (got.method, got.path) == ("POST", "/send?shop=7")
    assert got.headers["content-type"] == "application/json"
    assert got.headers["host"] == f"127.0.0.1:{gateway.port}"
    assert got.headers["x-once"] == "9b2c.sms.c0ffee00.0"
    assert got.told() == {
        "recipient": NUMBER, "words": "Your radio is ready.", "mark": "9b2c.sms.c0ffee00.0",
        "tell": {"at": "https://bell.example.org/hooks/sms/receipt", "how": ["447700900123", 7]},
    }  # fmt: skip


@pytest.mark.parametrize(
    "text",
    ['"}, {"recipient": "+447700900999', "{id} {to} {callback}", "a&b=c%0d%0a+", "Зенит-Е 📷 – €[]", "line\nline",
     "\\", "${jndi:x}", "a\u2028b", "</script>", "Grüße, ‘so’", "." * 900],
    ids=ascii,
)  # fmt: skip
@pytest.mark.parametrize("form", ["json", "form"])
def test_no_text_escapes_from_its_field(make: Make, text: str, form: str) -> None:
    body = '{"recipient": "{to}", "words": "{text}", "mark": "{id}"}'
    channel, gateway = make(form=form, body=body)
    assert channel.send(text_message(text)).verdict is Verdict.ACCEPTED
    raw = gateway.requests[0].body
    # Read back by Python's own parsers, which share nothing with the channel.
    got = json.loads(raw) if form == "json" else {name: one for name, (one,) in parse_qs(raw.decode()).items()}
    assert got == {"recipient": NUMBER, "words": text, "mark": "9b2c.sms.c0ffee00.0"}


def test_every_try_bears_the_same_reference_and_the_same_octets(make: Make) -> None:
    channel, gateway = make(answer(503))
    for _ in range(3):
        assert channel.send(text_message()).verdict is Verdict.TRY_LATER
    assert len({(one.body, one.headers["x-once"]) for one in gateway.requests}) == 1
    assert len(gateway.requests) == 3


# What is said without a line in the settings. RFC 9110 15.5 and 15.6; RFC 6585 4 for 429.
UNSAID: list[tuple[bytes, Verdict, str]] = [
    (answer(400), Verdict.NEVER, "http-400"), (answer(422), Verdict.NEVER, "http-422"),
    (answer(401), Verdict.TRY_LATER, "http-401"), (answer(403), Verdict.TRY_LATER, "http-403"),
    (answer(404), Verdict.TRY_LATER, "http-404"), (answer(408), Verdict.TRY_LATER, "http-408"),
    (answer(429), Verdict.TRY_LATER, "http-429"), (answer(500), Verdict.TRY_LATER, "http-500"),
    (answer(503), Verdict.TRY_LATER, "http-503"), (answer(502), Verdict.UNKNOWN, "http-502"),
    (answer(504), Verdict.UNKNOWN, "http-504"), (answer(204), Verdict.TRY_LATER, "http-204"),
    (answer(201, '{"verdict": "no"}'), Verdict.TRY_LATER, "http-201"),
    # A good status without the field that decides: half an answer, so nobody knows.
    (answer(201, "ok"), Verdict.UNKNOWN, "http-201"), (answer(201, b"\xff\xfe"), Verdict.UNKNOWN, "http-201"),
    (answer(201, "[" * 2000), Verdict.UNKNOWN, "http-201"), (answer(201, "null"), Verdict.UNKNOWN, "http-201"),
    (answer(302, "", "Location: http://127.0.0.1:1/"), Verdict.TRY_LATER, "http-302"),
]  # fmt: skip
# What breaks after the request has left: nobody can know whether it was taken.
BROKEN: dict[str, Any] = {
    "hangs up": other.hang_up, "resets": other.reset, "drips its head": other.drip, "drips its body": other.drip_body,
    "says nothing": other.silent, "no HTTP": b"220 mail.example.org ESMTP\r\n\r\n", "half a head": b"HTTP/1.1 201 S",
    "short body": b"HTTP/1.1 201 Said\r\nContent-Length: 900\r\nConnection: close\r\n\r\n{}",
    "a head without end": b"HTTP/1.1 201 Said\r\nX-Long: " + b"x" * 70_000 + b"\r\n\r\n",
    "a thousand headers": b"HTTP/1.1 201 Said\r\n" + b"X-One: 1\r\n" * 1000 + b"\r\n",
    "too large": answer(201, "x" * 9000),
    "bad chunks": b"HTTP/1.1 201 Said\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
}  # fmt: skip


@pytest.mark.parametrize(
    ("says", "verdict", "code"), UNSAID, ids=[code + str(n) for n, (_, _, code) in enumerate(UNSAID)]
)
def test_an_answer_means_what_http_says_where_the_settings_say_nothing(
    make: Make, says: bytes, verdict: Verdict, code: str
) -> None:
    channel, gateway = make(says)
    receipt = channel.send(text_message())
    assert (receipt.verdict, receipt.code) == (verdict, code)
    assert receipt.provider_id == ""
    assert gateway.connections == 1


def test_what_breaks_after_the_request_left_is_unknown_and_takes_no_longer_than_its_time(make: Make) -> None:
    wrong = []
    for name, says in BROKEN.items():
        channel, gateway = make(says, patience=0.6)
        began = os.times().elapsed
        receipt = channel.send(text_message())
        took = os.times().elapsed - began
        if receipt.verdict is not Verdict.UNKNOWN or took > 1.5 or len(gateway.requests) != 1:
            wrong.append((name, receipt, took))
    print(f"FIGURE sms_http_broken_answers answers={len(BROKEN)} not_unknown={len(wrong)}")
    assert not wrong, "\n".join(map(str, wrong))


def test_an_answer_too_large_to_read_is_unknown_even_where_the_status_alone_decides(make: Make) -> None:
    channel, _ = make(answer(201, "x" * 9000), good_field="")
    receipt = channel.send(text_message())
    assert (receipt.verdict, receipt.code) == (Verdict.UNKNOWN, "http-large")


def test_the_settings_overrule_with_their_most_exact_line(make: Make) -> None:
    answers = {"E21": "bad_number", "E30": "later", "400": "later", "4xx": "never", "5xx": "never"}

    def said(status: int, code: str = "") -> tuple[Verdict, str]:
        channel, _ = make(answer(status, json.dumps({"trouble": code})), answers=answers)
        receipt = channel.send(text_message())
        return receipt.verdict, receipt.code

    assert said(400, "E21") == (Verdict.NEVER, "address")  # marks the number, as dispatch/settle does for such codes
    assert said(422, "E30") == (Verdict.TRY_LATER, "http-422")
    assert said(400, "E99") == (Verdict.TRY_LATER, "http-400")
    assert said(418) == (Verdict.NEVER, "http-418")
    assert said(504) == (Verdict.NEVER, "http-504")
    assert said(201, "E21") == (Verdict.NEVER, "address")  # a good status whose field says otherwise


def test_nothing_of_the_number_or_text_is_kept_of_an_answer(make: Make) -> None:
    words = json.dumps({"trouble": "no route to +447700900123 for pat@example.org " + "x" * 500})
    channel, _ = make(answer(400, words))
    receipt = channel.send(text_message())
    assert "7700900123" not in receipt.text and "pat@" not in receipt.text and len(receipt.text) <= 200
    assert "secret" not in repr(replace(TOLD, headers=(("Authorization", "secret"),)))


def test_a_line_that_breaks_before_the_request_is_whole_is_tried_again() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken_port:
        port = taken_port.getsockname()[1]
    place = target(f"http://127.0.0.1:{port}/", this_machine=True)  # nobody listens there any more
    receipt = HttpSms(TOLD, Caller(place, patience=1, most=4096)).send(text_message())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "http-connect")


def test_signing_in_is_one_header_and_the_secret_stands_in_no_repr(make: Make) -> None:
    basic = sign_in_headers("basic", header="", name="bench", secret="pa:ss")
    assert basic == (("Authorization", "Basic YmVuY2g6cGE6c3M="),)  # RFC 7617 2, by hand: base64 of bench:pa:ss
    assert sign_in_headers("header", header="X-Key", name="", secret="Token abc") == (("X-Key", "Token abc"),)
    with pytest.raises(Misconfigured):
        sign_in_headers("header", header="X-Key", name="", secret="two\nlines")
    channel, gateway = make(headers=basic)
    channel.send(text_message())
    assert gateway.requests[0].headers["authorization"] == "Basic YmVuY2g6cGE6c3M="


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return make_certificates(tmp_path_factory.mktemp("tls"), names=(NAME,))


def over_tls(gateway: Gateway, name: str, ca_file: Path | None) -> HttpSms:
    place = target(f"https://{name}:{gateway.port}/send", this_machine=True)
    return HttpSms(TOLD, Caller(place, patience=2, most=4096, ca_file=ca_file, resolve=lambda *_: ["127.0.0.1"]))


def test_the_certificate_is_the_one_of_the_name_while_the_line_goes_to_the_checked_address(
    certificates: Certificates, tmp_path: Path
) -> None:
    gateway = Gateway(taken("gw-tls"), context=certificates.server_context())
    try:
        good = over_tls(gateway, NAME, certificates.ca_file).send(text_message())
        assert (good.verdict, good.provider_id) == (Verdict.ACCEPTED, "gw-tls")
        assert gateway.requests[0].headers["host"] == f"{NAME}:{gateway.port}"
        stranger = make_certificates(tmp_path, names=(NAME,)).ca_file
        for channel in (
            over_tls(gateway, "another.test", certificates.ca_file), over_tls(gateway, NAME, stranger),
            over_tls(gateway, NAME, None),
        ):  # fmt: skip
            receipt = channel.send(text_message())
            assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "http-certificate")
        assert len(gateway.requests) == 1
    finally:
        gateway.stop()


def test_proxies_of_the_environment_are_not_asked(make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    channel, gateway = make()
    proxy = Gateway()
    for name in ("http_proxy", "https_proxy", "all_proxy", "HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"):
        monkeypatch.setenv(name, f"http://127.0.0.1:{proxy.port}")
    try:
        assert channel.send(text_message()).verdict is Verdict.ACCEPTED
    finally:
        proxy.stop()
    assert (len(gateway.requests), len(proxy.requests)) == (1, 0)
