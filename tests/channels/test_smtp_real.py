"""The SMTP channel against a real server with encryption, certificates and sign-in."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from notify.channels.base import NOBODY, Verdict
from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.core.errors import Misconfigured
from tests.channels.conftest import outgoing
from tests.parts.certificates import Certificates, make_certificates
from tests.parts.smtp_server import SmtpServer

pytestmark = pytest.mark.real

USERS = {"shop": "bell-and-shelf"}
SIGN_IN = {"username": "shop", "password": "bell-and-shelf"}


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_signed_in_message_arrives_encrypted_byte_for_byte(
    start_smtp: Callable[..., SmtpServer], channel_to: Callable[..., SmtpChannel], security: str
) -> None:
    # Signing in inside TLS from the first octet is in the fault matrix; this server signs in after STARTTLS only.
    login = SIGN_IN if security == "starttls" else {}
    server = start_smtp(security=security, users=USERS if login else None)
    channel = channel_to(server.port, security=security, ca_file=server.ca_file, **login)
    messages = [outgoing(number) for number in range(3)]
    assert [channel.send(message).verdict for message in messages] == [Verdict.ACCEPTED] * 3
    assert [got.content for got in server.messages] == [message.payload for message in messages]
    first = server.messages[0]
    assert (first.sender, first.recipients, first.encrypted, first.login) == (
        "bench@example.org",
        ("pat@example.org",),
        True,
        login.get("username", ""),
    )
    assert server.connections == 1


def test_an_automatic_answer_leaves_with_the_null_return_path(
    start_smtp: Callable[..., SmtpServer], channel_to: Callable[..., SmtpChannel]
) -> None:
    """RFC 5321 4.5.5 and RFC 3834 3.3: MAIL FROM:<>, and aiosmtpd refuses any other spelling."""
    server = start_smtp(security="none")
    receipt = channel_to(server.port).send(outgoing(sender=NOBODY))
    assert receipt.verdict is Verdict.ACCEPTED
    assert [got.sender for got in server.messages] == ["<>"]


def test_a_wrong_password_waits_and_tells_neither_it_nor_the_user(
    smtp_server: SmtpServer, channel_to: Callable[..., SmtpChannel]
) -> None:
    channel = channel_to(
        smtp_server.port, security="starttls", ca_file=smtp_server.ca_file, username="shop", password="guess"
    )
    receipt = channel.send(outgoing())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "auth-535")
    assert "smtp.password" in receipt.text
    assert "guess" not in repr(receipt) + repr(SmtpSettings("localhost", 1, username="shop", password="guess"))
    assert smtp_server.connections == 1  # one try: a second with the same password locks accounts


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_from_an_unknown_authority_is_refused_before_the_password(
    start_smtp: Callable[..., SmtpServer],
    channel_to: Callable[..., SmtpChannel],
    stranger_certificates: Certificates,
    security: str,
) -> None:
    server = start_smtp(security=security, users=USERS if security == "starttls" else None)
    channel = channel_to(server.port, security=security, ca_file=stranger_certificates.ca_file, **SIGN_IN)
    receipt = channel.send(outgoing())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "tls-certificate")
    assert server.messages == []


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_certificate_for_another_name_is_refused(
    start_smtp: Callable[..., SmtpServer], channel_to: Callable[..., SmtpChannel], tmp_path: Path, security: str
) -> None:
    foreign = make_certificates(tmp_path, names=("mail.example.net",))
    server = start_smtp(security=security, certificates=foreign)
    channel = channel_to(server.port, security=security, ca_file=foreign.ca_file)
    receipt = channel.send(outgoing())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "tls-certificate")
    assert "localhost" in receipt.text
    assert server.messages == []


def test_without_a_ca_file_the_machines_own_authorities_decide(
    smtp_server: SmtpServer, channel_to: Callable[..., SmtpChannel]
) -> None:
    assert channel_to(smtp_server.port, security="starttls").send(outgoing()).code == "tls-certificate"


def test_a_server_without_starttls_gets_nothing_when_starttls_is_set(
    start_smtp: Callable[..., SmtpServer], channel_to: Callable[..., SmtpChannel]
) -> None:
    server = start_smtp(security="none")
    receipt = channel_to(server.port, security="starttls").send(outgoing())
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "starttls-missing")
    assert server.messages == []


def test_a_ca_file_that_is_none_is_named(channel_to: Callable[..., SmtpChannel], tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("no certificate")
    for path in (tmp_path / "ca.pem", tmp_path / "missing.pem"):
        receipt = channel_to(1, security="tls", ca_file=path).send(outgoing())
        assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "ca-file")


@pytest.mark.parametrize("given", [{"security": "none", "username": "shop"}, {"security": "ssl"}])
def test_settings_that_would_send_a_password_in_the_clear_are_refused(given: dict[str, Any]) -> None:
    with pytest.raises(Misconfigured):
        SmtpSettings("mail.example.org", 25, **given)


@pytest.mark.parametrize(
    ("answer", "verdict"), [("550 5.1.1 <pat@example.org> who?", Verdict.NEVER), ("451 4.7.1 later", Verdict.TRY_LATER)]
)
def test_a_refused_recipient_is_told_by_its_digits(
    start_smtp: Callable[..., SmtpServer], channel_to: Callable[..., SmtpChannel], answer: str, verdict: Verdict
) -> None:
    server = start_smtp(security="none")
    server.refusals["pat@example.org"] = answer
    channel = channel_to(server.port)
    receipt = channel.send(outgoing())
    assert (receipt.verdict, receipt.code) == (verdict, f"rcpt-{answer[:3]}")
    assert "@" not in receipt.text
    assert channel.send(outgoing(to="kim@example.org")).verdict is Verdict.ACCEPTED
    assert server.connections == 1


def test_a_connection_lost_after_the_dot_is_unknown_and_the_same_bytes_go_again(
    smtp_server: SmtpServer, channel_to: Callable[..., SmtpChannel]
) -> None:
    smtp_server.drop_after_data = 1
    channel = channel_to(smtp_server.port, security="starttls", ca_file=smtp_server.ca_file, **SIGN_IN)
    message = outgoing()
    assert [channel.send(message).verdict for _ in range(2)] == [Verdict.UNKNOWN, Verdict.ACCEPTED]
    assert [got.content for got in smtp_server.messages] == [message.payload] * 2


def test_threads_never_share_a_connection_and_close_takes_them_all(
    start_smtp: Callable[..., SmtpServer], channel_to: Callable[..., SmtpChannel]
) -> None:
    server = start_smtp(security="none")
    channel = channel_to(server.port)
    together = threading.Barrier(4)
    verdicts: list[Verdict] = []

    def work(start: int) -> None:
        together.wait(timeout=60)
        verdicts.extend(channel.send(outgoing(start * 100 + number)).verdict for number in range(10))
        together.wait(timeout=60)

    threads = [threading.Thread(target=work, args=(start,)) for start in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert verdicts == [Verdict.ACCEPTED] * 40
    assert len({got.content for got in server.messages}) == 40
    opened = server.connections  # one that is free again is taken rather than a new one
    assert 1 <= opened <= 4
    channel.close()
    assert channel.send(outgoing()).verdict is Verdict.ACCEPTED  # a closed channel opens again
    assert server.connections == opened + 1
