"""The IMAP mailbox against a real server (Dovecot where there is one): what is shown, marked, removed, refused."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from notify.core.errors import Conflict, Misconfigured, NotFound
from notify.inbox.fields import LARGEST_HEADER
from notify.inbox.imap import HANDLED, ImapMailbox, ImapPlace, open_imap
from notify.inbox.letter import LARGEST, read_letter
from tests.parts.certificates import Certificates
from tests.parts.imap_server import ImapServer
from tests.parts.letters import letter

pytestmark = pytest.mark.real


@pytest.fixture
def place(imap_server: ImapServer) -> ImapPlace:
    """Over TLS where the server has it."""
    plain = ImapPlace(imap_server.host, imap_server.port, imap_server.user, imap_server.password, "none", timeout=5)
    if not imap_server.tls_port:
        return plain
    return replace(plain, port=imap_server.tls_port, security="tls", ca_file=imap_server.ca_file)


@pytest.fixture
def box(place: ImapPlace) -> Iterator[ImapMailbox]:
    opened = open_imap(place)
    yield opened
    opened.close()


def test_a_letter_is_shown_until_it_is_done_and_is_then_seen_and_marked(
    imap_server: ImapServer, box: ImapMailbox
) -> None:
    imap_server.put(letter(body="One.\n"))
    imap_server.put(letter(body="Two.\n"))
    first, second = box.letters()
    assert [read_letter(held.read(), size=held.size).text for held in (first, second)] == ["One.", "Two."]
    assert first.size == len(letter(body="One.\n"))
    assert _flags(imap_server) == [set(), set()]  # reading alone marks nothing
    box.done(first.uid)
    assert [held.uid for held in box.letters()] == [second.uid]
    assert _flags(imap_server) == [{"\\Seen", HANDLED}, set()]


def test_a_letter_that_staff_read_with_a_program_of_their_own_is_shown_all_the_same(
    imap_server: ImapServer, box: ImapMailbox
) -> None:
    imap_server.put(letter())
    client = imap_server.open()
    assert len(list(client.fetch(mark_seen=True))) == 1
    client.logout()
    assert len(list(box.letters())) == 1


def test_of_a_letter_over_the_limit_only_the_beginning_is_fetched(imap_server: ImapServer, box: ImapMailbox) -> None:
    imap_server.put(letter(body="a" * 70 + "\n") + b"a\r\n" * (LARGEST // 3))
    [held] = box.letters()
    raw = held.read()
    assert held.size > LARGEST and len(raw) == LARGEST_HEADER
    read = read_letter(raw, size=held.size)
    assert (read.refused, read.message_id) == ("too_large", "<one@example.org>")


def test_a_letter_that_is_gone_is_not_found_and_the_next_one_is_read(imap_server: ImapServer, box: ImapMailbox) -> None:
    imap_server.put(letter())
    imap_server.put(letter(body="Still here.\n"))
    first, second = box.letters()
    client = imap_server.open()
    client.delete([first.uid])
    client.logout()
    with pytest.raises(NotFound):
        first.read()
    box.done(first.uid)
    assert read_letter(second.read()).text == "Still here."


def test_only_handled_letters_go_when_they_are_old_and_nothing_that_staff_marked(
    imap_server: ImapServer, box: ImapMailbox
) -> None:
    now = datetime.now(UTC)
    client = imap_server.open()
    for days, body in ((40, "old"), (40, "waiting"), (40, "marked by staff"), (5, "young")):
        client.append(letter(body=body), dt=now - timedelta(days=days))
    client.logout()
    old, _waiting, marked, young = box.letters()
    box.done(old.uid)
    box.done(young.uid)
    client = imap_server.open()
    client.client.uid("STORE", marked.uid, "+FLAGS", r"(\Deleted)")
    client.logout()
    assert box.remove_older(now - timedelta(days=30)) == 1
    left = 3 if imap_server.kind == "dovecot" else 2  # without UIDPLUS an expunge takes what staff marked, too
    assert len(_flags(imap_server)) == left


def test_a_wrong_password_is_told_by_its_setting_and_never_repeated(place: ImapPlace) -> None:
    with pytest.raises(Misconfigured) as caught:
        open_imap(replace(place, password="not-this-one"))
    assert caught.value.field == "inbox.username"
    assert "not-this-one" not in f"{caught.value!r}{place!r}" and place.password not in repr(place)


def test_a_folder_that_is_not_there_is_told_by_its_setting(place: ImapPlace) -> None:
    with pytest.raises(Misconfigured) as caught:
        open_imap(replace(place, folder="Nowhere"))
    assert caught.value.field == "inbox.folder"


def test_a_server_that_nobody_vouches_for_gets_no_password(
    imap_server: ImapServer, place: ImapPlace, stranger_certificates: Certificates
) -> None:
    if imap_server.kind != "dovecot":
        pytest.skip("this machine has no Dovecot")
    for wary in (replace(place, ca_file=stranger_certificates.ca_file), replace(place, host="127.0.0.2")):
        for security, port in (("tls", imap_server.tls_port), ("starttls", imap_server.port)):
            with pytest.raises((Misconfigured, Conflict)):
                open_imap(replace(wary, security=security, port=port))  # type: ignore[arg-type]


def test_starttls_is_spoken_before_anything_else(imap_server: ImapServer, place: ImapPlace) -> None:
    if imap_server.kind != "dovecot":
        pytest.skip("this machine has no Dovecot")
    imap_server.put(letter())
    box = open_imap(replace(place, security="starttls", port=imap_server.port))
    assert len(list(box.letters())) == 1
    box.close()


def test_without_tls_only_a_mailbox_on_this_machine_is_asked() -> None:
    assert ImapPlace("localhost", 143, "shop", "x", "none") and ImapPlace("127.0.0.1", 143, "shop", "x", "none")
    for host in ("imap.example.org", "192.0.2.1", "127.example.org"):
        with pytest.raises(Misconfigured):
            ImapPlace(host, 143, "shop", "x", "none")


def test_a_file_that_holds_no_certificates_is_told_by_its_setting(place: ImapPlace, tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("nothing")
    with pytest.raises(Misconfigured) as caught:
        open_imap(replace(place, security="tls", ca_file=tmp_path / "ca.pem"))
    assert caught.value.field == "inbox.ca_file"


def _flags(server: ImapServer) -> list[set[str]]:
    client = server.open()
    flags = [set(mail.flags) - {"\\Recent"} for mail in client.fetch(mark_seen=False)]
    client.logout()
    return flags
