"""The mailbox that tests borrow is a real IMAP server that starts empty."""

from __future__ import annotations

import ssl

import pytest
from imap_tools import MailBox

from tests.parts.certificates import Certificates
from tests.parts.imap_server import ImapServer, _pymap

pytestmark = pytest.mark.real
MAIL = b"From: pat@example.org\r\nTo: shop@example.org\r\nSubject: yes please\r\n\r\nDo it.\r\n"


def test_the_mailbox_starts_empty_and_keeps_the_very_bytes_put_into_it(imap_server: ImapServer) -> None:
    _check(imap_server)


def test_the_small_server_for_machines_without_dovecot_does_the_same() -> None:
    for server in _pymap():
        _check(server)


def test_dovecot_offers_what_the_mail_poller_needs(imap_server: ImapServer) -> None:
    if imap_server.kind != "dovecot":
        pytest.skip("this machine has no Dovecot")
    client = imap_server.open()
    offered = set(client.client.capability()[1][0].decode().split())
    client.logout()
    assert {"IDLE", "MOVE", "UIDPLUS"} <= offered


def test_a_client_that_trusts_somebody_else_does_not_sign_in(
    imap_server: ImapServer, stranger_certificates: Certificates
) -> None:
    if imap_server.kind != "dovecot":
        pytest.skip("this machine has no Dovecot")
    wary = ssl.create_default_context(cafile=str(stranger_certificates.ca_file))
    with pytest.raises(ssl.SSLCertVerificationError):
        MailBox(imap_server.host, imap_server.tls_port, timeout=5, ssl_context=wary)


def _check(server: ImapServer) -> None:
    client = server.open()
    assert client.uids() == []
    client.logout()
    server.put(MAIL)
    client = server.open()
    [mail] = client.fetch(mark_seen=False)
    client.logout()
    assert mail.subject == "yes please"
    assert mail.obj.as_bytes().replace(b"\r\n", b"\n") == MAIL.replace(b"\r\n", b"\n")
