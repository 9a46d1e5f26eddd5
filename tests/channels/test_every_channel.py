"""What every channel does alike, be it a list, a folder, a real mail server or a gateway behind one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from notify.channels.base import Channel, Verdict
from notify.channels.folder import FolderChannel
from notify.channels.http_call import Caller
from notify.channels.http_target import target
from notify.channels.memory import MemoryChannel
from notify.channels.sms_http import HttpSms
from notify.channels.sms_mailgate import SmsMailgate
from notify.channels.smtp import SmtpChannel
from tests.channels.conftest import outgoing
from tests.channels.scripted import ScriptedServer
from tests.channels.test_sms_http import TOLD
from tests.parts.gateway import Gateway
from tests.parts.modem import ScriptedModem

TEMPLATE = "{digits}@sms.example.org"
NUMBER = "+447700900123"


class Kit:
    """A channel, how to address it, and how to see what arrived at its other end."""

    def __init__(
        self, channel: Channel, arrived: Callable[[], list[bytes]], *, to: str = "pat@example.org", text: bool = False
    ) -> None:
        self.channel, self.arrived, self.to, self._text = channel, arrived, to, text

    def expected(self, payload: bytes) -> bytes:
        """What should arrive of a payload: all of it, or where no mail is carried its text with plain line ends."""
        if not self._text:
            return payload
        return payload.partition(b"\r\n\r\n")[2].replace(b"\r\n", b"\n").removesuffix(b"\n")


@pytest.fixture(
    params=["memory", "folder", pytest.param("smtp", marks=pytest.mark.real), "sms over memory", "sms over folder",
            pytest.param("sms by http", marks=pytest.mark.real), "sms by modem"]
)  # fmt: skip
def kit(request: pytest.FixtureRequest, tmp_path: Path) -> Kit:
    kind = request.param
    if kind == "sms by http":
        gateway = Gateway()
        request.addfinalizer(gateway.stop)
        place = target(f"http://127.0.0.1:{gateway.port}/send", this_machine=True)
        by_http = HttpSms(TOLD, Caller(place, patience=5, most=4096))
        return Kit(by_http, lambda: [one.told()["words"].encode() for one in gateway.requests], to=NUMBER, text=True)
    if kind == "sms by modem":
        modem = ScriptedModem()
        return Kit(modem.channel(), lambda: [one.encode() for one in modem.texts()], to=NUMBER, text=True)
    if kind == "smtp":
        server: ScriptedServer = request.getfixturevalue("scripted")()
        smtp: SmtpChannel = request.getfixturevalue("channel_to")(server.port)
        return Kit(smtp, lambda: list(server.kept))
    carrier: Any = MemoryChannel() if kind.endswith("memory") else FolderChannel(tmp_path / "mail")
    arrived = (
        (lambda: [one.payload for one in carrier.sent]) if kind.endswith("memory") else lambda: files(tmp_path / "mail")
    )
    if kind.startswith("sms"):
        return Kit(SmsMailgate(carrier, TEMPLATE), arrived, to="+447700900123")
    return Kit(carrier, arrived)


def files(folder: Path) -> list[bytes]:
    new = folder / "new"
    return (
        [path.read_bytes() for path in sorted(new.iterdir(), key=lambda path: path.stat().st_mtime_ns)]
        if new.is_dir()
        else []
    )


def test_a_message_arrives_byte_for_byte(kit: Kit) -> None:
    message = outgoing(to=kit.to)
    assert kit.channel.send(message).verdict is Verdict.ACCEPTED
    assert kit.arrived() == [kit.expected(message.payload)]


def test_many_messages_arrive_in_order_and_none_twice(kit: Kit) -> None:
    messages = [outgoing(number, to=kit.to) for number in range(12)]
    assert {kit.channel.send(message).verdict for message in messages} == {Verdict.ACCEPTED}
    assert kit.arrived() == [kit.expected(message.payload) for message in messages]


BAD_RECIPIENTS = [
    "",
    " ",
    "pat",
    "pat@",
    "@example.org",
    "pat@localhost",
    "pat@example.org, eve@example.net",
    "pat@example.org,eve@example.net",
    "pat@example.org;eve@example.net",
    "pat@example.org eve@example.net",
    "Pat <pat@example.org>",
    "<pat@example.org>",
    "pat@example.org\r\nRCPT TO:<eve@example.net>",
    "pat@example.org\n",
    "pat\r@example.org",
    "pat@example.org\0",
    "pat@example.org>",
    "pat>@example.org",
    "p@t@example.org",
    '"pat,eve"@example.org',
    "pät@example.org",
    "pat@exämple.org",
    "pat.@example.org",
    ".pat@example.org",
    "pat..x@example.org",
    "pat@[192.0.2.1]",
    "pat@-example.org",
    "pat@example..org",
    "pat(x)@example.org",
    f"{'a' * 65}@example.org",
    f"pat@{'a.' * 125}org",
    "447700900123",
    "+44770090012x",
    "+44 7700 900123",
    "+447700900123\r\n",
    "+0447700900",
    "+447700900123,+447700900124",
    "+4477009001234567",
    "tel:+447700900123",
    "+\u0664\u0664\u0667\u0667\u0660\u0660\u0669\u0660\u0660\u0661",
]


@pytest.mark.parametrize("to", BAD_RECIPIENTS, ids=ascii)
def test_anything_but_exactly_one_recipient_is_refused_for_good(kit: Kit, to: str) -> None:
    receipt = kit.channel.send(outgoing(to=to))
    assert (receipt.verdict, receipt.code) == (Verdict.NEVER, "address")
    assert "eve" not in receipt.text
    assert kit.arrived() == []


BAD_PAYLOADS = {
    "empty": b"",
    "blank": b"\r\n\r\n",
    "bare LF": b"Subject: a\n\nb\r\n",
    "bare CR": b"Subject: a\r\n\r\nb\rc\r\n",
    "smuggled end": b"Subject: a\r\n\r\nb\n.\nMAIL FROM:<eve@example.net>\r\n",
    "no last CRLF": b"Subject: a\r\n\r\nb",
    "eight bits": "Subject: ü\r\n\r\nb\r\n".encode(),
    "NUL": b"Subject: a\r\n\r\nb\0\r\n",
    "999 octets": b"Subject: a\r\n\r\n" + b"b" * 999 + b"\r\n",
}


@pytest.mark.parametrize("payload", BAD_PAYLOADS.values(), ids=BAD_PAYLOADS.keys())
def test_bytes_that_could_end_a_message_early_are_refused_for_good(kit: Kit, payload: bytes) -> None:
    receipt = kit.channel.send(outgoing(to=kit.to, payload=payload))
    assert (receipt.verdict, receipt.code) == (Verdict.NEVER, "payload")
    assert kit.arrived() == []


@pytest.mark.parametrize("message_id", ["", "<a@example.org>\r\nX: y", "a\0b"], ids=ascii)
def test_a_message_without_a_usable_identity_is_refused(kit: Kit, message_id: str) -> None:
    assert kit.channel.send(outgoing(to=kit.to, message_id=message_id)).code == "message-id"
    assert kit.arrived() == []


@pytest.mark.parametrize("sender", ["", "bench", "bench@example.org\r\nDATA", "a@example.org,b@example.org"], ids=ascii)
def test_a_wrong_sender_is_a_setting_to_cure_and_loses_nothing(kit: Kit, sender: str) -> None:
    receipt = kit.channel.send(outgoing(to=kit.to, sender=sender))
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "sender")
    assert kit.channel.send(outgoing(to=kit.to)).verdict is Verdict.ACCEPTED


def test_what_is_shown_of_a_message_names_nobody(kit: Kit) -> None:
    message = outgoing(to=kit.to)
    receipt = kit.channel.send(message)
    assert "pat" not in repr(message) + repr(receipt)
    assert "7700900123" not in repr(message) + repr(receipt)
