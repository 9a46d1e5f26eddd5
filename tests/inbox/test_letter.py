"""An honest letter is read as RFC 5322, MIME and RFC 3834 say; a report as RFC 3464 says."""

from __future__ import annotations

import hashlib
from email.message import EmailMessage
from email.policy import SMTP

import pytest

from notify.inbox.letter import LARGEST, Report, read_letter
from notify.inbox.parts import DEEPEST, MOST_PARTS
from tests.parts.letters import delivery_report, group, letter, multipart


def test_what_the_standard_library_writes_is_read_back() -> None:
    """The other side is Python's own writer of mail, with its folding, encoded words and transfer encodings."""
    mail = EmailMessage(policy=SMTP)
    mail["From"] = '"Größe, Pat" <pat@example.org>'
    mail["To"] = "Bench <bench@example.org>, second@example.org"
    mail["Cc"] = "third@example.org"
    mail["Subject"] = "Ja, bitte – für das Gerät, und zwar so bald wie irgend möglich, am liebsten noch heute Abend 📻"
    mail["Message-ID"] = "<reply.1@example.org>"
    mail["In-Reply-To"] = "<ours.2@example.org>"
    mail["References"] = "<ours.1@example.org> <ours.2@example.org>"
    mail.set_content("Ja, bitte machen.\n\nGrüße\nPat\n", cte="base64")
    mail.add_alternative("<p>Ja, bitte <b>machen</b>.</p>", subtype="html")
    read = read_letter(mail.as_bytes())
    assert read.refused == "" and not read.automatic
    assert read.sender == "pat@example.org"
    assert read.recipients == ("bench@example.org", "second@example.org", "third@example.org")
    assert read.subject == str(mail["Subject"])
    assert read.text == "Ja, bitte machen.\n\nGrüße\nPat"
    assert read.answers == ("<ours.2@example.org>", "<ours.1@example.org>")
    assert (len(read.key), read.message_id) == (64, "<reply.1@example.org>")


@pytest.mark.parametrize("encoding", ["7bit", "8bit", "quoted-printable", "base64"])
@pytest.mark.parametrize("charset", ["utf-8", "iso-8859-1", "windows-1252"])
def test_every_transfer_encoding_and_character_set_gives_the_same_words(charset: str, encoding: str) -> None:
    if encoding == "7bit":
        words = "Yes please."
    else:
        words = "Für fünf €uro, ja." if charset == "windows-1252" else "Für fünf, ja."
    mail = EmailMessage(policy=SMTP)
    mail["From"] = "pat@example.org"
    mail.set_content(words, charset=charset, cte=encoding)
    assert read_letter(mail.as_bytes()).text == words


@pytest.mark.parametrize("charset", ["x-none", "zlib", "hex", "idna", "undefined", "", "unicode_escape", '"'])
def test_a_character_set_that_is_none_still_gives_words(charset: str) -> None:
    read = read_letter(letter(f"Content-Type: text/plain; charset={charset}", body="plain words"))
    assert read.text == "plain words"


def test_wrong_octets_are_marked_and_cost_no_letter() -> None:
    raw = letter("Content-Type: text/plain; charset=utf-8").replace(b"Yes", b"Y\xffs")
    assert read_letter(raw).text == "Y\ufffds please."


def test_line_ends_of_either_kind_are_read() -> None:
    raw = multipart("Content-Type: text/plain\n\nYes.\n\nPat\n", "Content-Type: text/html\n\n<p>No</p>\n")
    assert read_letter(raw).text == read_letter(raw.replace(b"\r\n", b"\n")).text == "Yes.\n\nPat"


@pytest.mark.parametrize(
    ("written", "sender"),
    [
        ("pat@Example.ORG", "pat@example.org"),
        ("Pat <pat@example.org>", "pat@example.org"),
        ('"a@b.example" <pat@example.org>', "pat@example.org"),
        ("(evil@bad.example) pat@example.org (x)", "pat@example.org"),
        ("evil@bad.example <pat@example.org>", "pat@example.org"),
        ("=?utf-8?q?evil=40bad.example?= <pat@example.org>", "pat@example.org"),
        ("pat@example.org, evil@bad.example", ""),
        ("Pat <pat@example.org>, Evil <evil@bad.example>", ""),
        ("Pat <pat@example.org> <evil@bad.example>", ""),
        ("MAILER-DAEMON", ""),
        ("<>", ""),
        ("Friends: pat@example.org;", ""),
        ("pat@localhost", ""),
    ],
)
def test_the_writer_is_one_address_or_nobody(written: str, sender: str) -> None:
    """RFC 5322 3.6.2: From may name several mailboxes; a reply must have one writer, so then it has none."""
    read = read_letter(letter(sender=written))
    assert (read.sender, read.refused) == (sender, "")


def test_two_from_fields_are_refused_but_the_letter_can_still_be_counted_once() -> None:
    """RFC 5322 3.6: From exactly once."""
    read = read_letter(letter("From: evil@bad.example"))
    assert (read.refused, read.sender, read.text, read.message_id) == ("malformed", "", "", "<one@example.org>")


@pytest.mark.parametrize(
    "field",
    [
        "Auto-Submitted: auto-replied",
        "Auto-Submitted: auto-generated; owner-token=x",
        "Auto-Submitted: (a (nested) comment) AUTO-REPLIED (vacation)",
        "Auto-Submitted: something-new",
        "Auto-Submitted:",
        "Return-Path: <>",
        "Return-Path: <> (nobody)",
        "Precedence: bulk",
        "Precedence: LIST",
        "List-Id: <friends.example.org>",
        "List-Unsubscribe: <https://example.org/x>",
        "X-Auto-Response-Suppress: OOF, AutoReply",
    ],
)
def test_automatic_mail_is_recognised(field: str) -> None:
    """RFC 3834 2 and 5.2 (comments and parameters do not hide the keyword); the last is common practice, no source."""
    assert read_letter(letter(field)).automatic


@pytest.mark.parametrize(
    "field",
    ["Auto-Submitted: no", "Auto-Submitted: (yes) No; x=y", "Return-Path: <pat@example.org>", "Precedence: normal"],
)
def test_a_persons_mail_is_not_taken_for_automatic(field: str) -> None:
    assert not read_letter(letter(field)).automatic


@pytest.mark.parametrize(
    "sender", ["MAILER-DAEMON@example.org", "owner-friends@example.org", "friends-request@example.org"]
)
def test_addresses_of_programs_get_no_answer(sender: str) -> None:
    """RFC 3834 2 names these three."""
    assert read_letter(letter(sender=sender)).automatic


def test_where_it_came_to_includes_what_the_mail_server_wrote_before_what_the_writer_wrote() -> None:
    many = ", ".join(f"a{n}@example.org" for n in range(200))
    read = read_letter(letter(f"Cc: {many}", "Delivered-To: bounce-abc@example.org", "X-Original-To: <x@example.org>"))
    assert read.recipients[:3] == ("bounce-abc@example.org", "x@example.org", "shop@example.org")
    assert len(read.recipients) == 50


def test_a_report_names_each_recipient_and_our_message() -> None:
    """RFC 3464 2.3 (fields of a recipient), RFC 6522 3 (the returned header)."""
    second = group("delayed", "4.4.1", "sam@example.org").replace("Diagnostic-Code: smtp; 550 no such user here\n", "")
    read = read_letter(delivery_report(group("Failed", "5.1.1 (bad mailbox)"), second, to="bounce-abc@example.org"))
    assert read.automatic and read.recipients[0] == "bounce-abc@example.org"
    assert read.reports == (
        Report("failed", "5.1.1 (bad mailbox)", "pat@example.org", "<ours@example.org>", "smtp; 550 no such user here"),
        Report("delayed", "4.4.1", "sam@example.org", "<ours@example.org>", ""),
    )


def test_a_report_gives_the_address_as_we_wrote_it() -> None:
    """RFC 3464 2.3.1: Original-Recipient is the one that the sender gave."""
    read = read_letter(
        delivery_report("Original-Recipient: rfc822;pat@example.org\n" + group(address="forwarded@example.net"))
    )
    assert [report.recipient for report in read.reports] == ["pat@example.org"]


def test_a_report_with_our_whole_message_returned_names_it_too() -> None:
    raw = delivery_report(group(), returned="Message-ID:\n <whole@example.org>\nSubject: x\n\nbody\n")
    [report] = read_letter(raw.replace(b"text/rfc822-headers", b"message/rfc822")).reports
    assert report.message_id == "<whole@example.org>"


def test_a_part_that_only_looks_like_a_report_is_none() -> None:
    """RFC 6522: a delivery report is a multipart/report; what somebody attached to a letter says nothing about us."""
    raw = multipart("Content-Type: text/plain\n\nHi\n", f"Content-Type: message/delivery-status\n\n{group()}")
    assert read_letter(raw).reports == ()


def test_what_a_letter_passes_on_is_not_what_it_says() -> None:
    inner = "Content-Type: message/rfc822\n\nFrom: a@example.org\nContent-Type: text/calendar; method=REPLY\n\nSTOP\n"
    read = read_letter(multipart("Content-Type: text/plain\n\nSee below.\n", inner))
    assert (read.text, read.calendars) == ("See below.", ())


def test_attached_text_is_not_what_it_says() -> None:
    attached = "Content-Type: text/plain\nContent-Disposition: attachment; filename=stop.txt\n\nSTOP\n"
    assert read_letter(multipart(attached, "Content-Type: text/plain\n\nHello.\n")).text == "Hello."
    assert read_letter(multipart(attached)).text == ""


def test_html_gives_its_words_and_nothing_else() -> None:
    page = (
        "<html><head><title>T</title><style>p{color:red}</style></head><body>"
        "<p>Yes,<br>please &amp; thank you: 3 < 5</p>"
        "<script>alert(1)</script><!-- no --><div>Pat</div><div class='gmail_quote'>On 1 May, you wrote:"
        "<div>old</div></div><blockquote>older<blockquote>oldest</blockquote></blockquote></body></html>"
    )
    assert read_letter(letter("Content-Type: text/html", body=page)).text == "Yes,\nplease & thank you: 3 < 5\n\nPat"


def test_limits_are_where_they_are_said_to_be() -> None:
    base = letter(body="")
    assert read_letter(base + b"a" * (LARGEST - len(base))).refused == ""
    assert read_letter(base + b"a" * (LARGEST - len(base) + 1)).refused == "too_large"
    assert read_letter(base, size=LARGEST + 1).refused == "too_large"
    assert read_letter(_nested(DEEPEST)).text == "deep"
    assert read_letter(_nested(DEEPEST + 1)).refused == "too_deep"
    parts = ["Content-Type: text/html\n\nx"] * (MOST_PARTS - 1)
    assert read_letter(multipart(*parts, "Content-Type: text/plain\n\nlast\n")).text == "last"
    assert read_letter(multipart("Content-Type: text/html\n\nx", *parts, "Content-Type: text/plain\n\nl\n")).text == "x"


def _nested(depth: int) -> bytes:
    opened = b"".join(b"Content-Type: multipart/mixed; boundary=b%d\r\n\r\n--b%d\r\n" % (n, n) for n in range(depth))
    return b"From: pat@example.org\r\n" + opened + b"\r\ndeep"


def test_a_letter_without_an_identifier_is_known_by_its_bytes() -> None:
    first, second = (letter(body=words).replace(b"Message-ID", b"X-Other") for words in ("one", "two"))
    assert read_letter(first).key == read_letter(first).key == hashlib.sha256(first).hexdigest()
    assert read_letter(first).key != read_letter(second).key


def test_neither_letter_nor_report_shows_an_address_in_a_log() -> None:
    read = read_letter(delivery_report(group()))
    assert "example" not in repr(read) and "example" not in repr(read.reports[0])
