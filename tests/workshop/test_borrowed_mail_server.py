"""The mail server that tests borrow behaves as RFC 5321 servers do, and fails in the ways they fail."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Callable

import pytest

from tests.parts.certificates import Certificates
from tests.parts.smtp_server import SmtpServer

pytestmark = pytest.mark.real
Start = Callable[..., SmtpServer]
MAIL = b"Subject: hello\r\n\r\nbody\r\n"
SHOP = "shop@example.org"


def connect(server: SmtpServer) -> smtplib.SMTP:
    """A client that trusts only the throw-away authority."""
    context = ssl.create_default_context(cafile=str(server.ca_file))
    if server.security == "tls":
        return smtplib.SMTP_SSL(server.host, server.port, timeout=5, context=context)
    client = smtplib.SMTP(server.host, server.port, timeout=5)
    if server.security == "starttls":
        client.starttls(context=context)
    return client


@pytest.mark.parametrize("security", ["none", "starttls", "tls"])
def test_a_message_arrives_whole_and_says_whether_it_was_encrypted(start_smtp: Start, security: str) -> None:
    server = start_smtp(security=security)
    with connect(server) as client:
        client.sendmail(SHOP, ["pat@example.org"], MAIL)
    [message] = server.messages
    assert message.content == MAIL
    assert (message.sender, message.recipients) == (SHOP, ("pat@example.org",))
    assert message.encrypted is (security != "none")


def test_a_right_password_is_let_in_and_a_wrong_one_gets_535(smtp_server: SmtpServer) -> None:
    with connect(smtp_server) as client, pytest.raises(smtplib.SMTPAuthenticationError) as refused:
        client.login("shop", "wrong")
    with connect(smtp_server) as client:
        client.login("shop", "bell-and-shelf")
        client.sendmail(SHOP, ["pat@example.org"], MAIL)
    assert refused.value.smtp_code == 535
    assert smtp_server.messages[0].login == "shop"


def test_without_a_login_nothing_is_taken(smtp_server: SmtpServer) -> None:
    with connect(smtp_server) as client, pytest.raises(smtplib.SMTPSenderRefused) as refused:
        client.sendmail(SHOP, ["pat@example.org"], MAIL)
    assert refused.value.smtp_code == 530
    assert smtp_server.messages == []


def test_each_recipient_gets_its_own_verdict(start_smtp: Start) -> None:
    server = start_smtp()
    server.refusals["gone@example.org"] = "550 5.1.1 nobody of that name"
    with connect(server) as client:
        refused = client.sendmail(SHOP, ["pat@example.org", "gone@example.org"], MAIL)
    assert refused["gone@example.org"][0] == 550
    assert server.messages[0].recipients == ("pat@example.org",)


def test_an_answer_after_the_final_dot_can_be_set_for_one_message(start_smtp: Start) -> None:
    server = start_smtp()
    server.data_answers.append("451 4.3.0 try later")
    with connect(server) as client:
        with pytest.raises(smtplib.SMTPDataError) as refused:
            client.sendmail(SHOP, ["pat@example.org"], MAIL)
        client.sendmail(SHOP, ["pat@example.org"], MAIL)
    assert refused.value.smtp_code == 451
    assert len(server.messages) == 1
    assert server.connections == 1


def test_a_message_can_be_kept_and_its_answer_lost(start_smtp: Start) -> None:
    server = start_smtp()
    server.drop_after_data = 1
    client = connect(server)
    with pytest.raises((smtplib.SMTPServerDisconnected, OSError)):
        client.sendmail(SHOP, ["pat@example.org"], MAIL)
    client.close()
    assert len(server.messages) == 1


def test_a_client_that_trusts_somebody_else_is_not_fooled(
    start_smtp: Start, stranger_certificates: Certificates
) -> None:
    server = start_smtp(certificates=stranger_certificates)
    client = smtplib.SMTP(server.host, server.port, timeout=5)
    with pytest.raises(ssl.SSLCertVerificationError):
        client.starttls(context=ssl.create_default_context())
    client.close()


def test_a_stopped_server_leaves_its_clients_with_an_error_not_a_hang(start_smtp: Start) -> None:
    server = start_smtp(security="none")
    client = connect(server)
    assert client.noop()[0] == 250
    server.stop()
    with pytest.raises((smtplib.SMTPServerDisconnected, OSError)):
        client.noop()
        client.noop()
    client.close()
