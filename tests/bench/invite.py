"""One invite by e-mail, from its facts to the octets that leave, against the bare calls of the two libraries."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from icalendar import Calendar, Event, vCalAddress

from notify.render.email import Mailbox, compose_mail
from notify.render.invite import Invite, invite_bytes
from tests.bench.line import Figure, alternate, compare, cpu
from tests.parts.content_lines import read_lines

SENDER, TO, REPLY_TO = "counter@example.org", "ines@example.org", "pickup-7f3k9q2m4x8v@example.org"
START = datetime(2026, 11, 26, 10, tzinfo=UTC)
TEXT = "Ines Farrow, your pickup is booked: come on Thursday, 26 November, between 10:00 and 10:15.\n" * 6
PAGE = '<!DOCTYPE html><html lang="en"><head><title>Your pickup</title></head><body>'
HTML = f"{PAGE}{'<p>Come by.</p>' * 60}</body></html>"
BASELINE = (
    "the same properties added to an icalendar Calendar and Event, to_ical(); the same parts added to an EmailMessage "
    "with set_content, add_alternative and add_attachment, as_bytes(). No check of address, uid, times, links or "
    "headers, no text cleaned, the page neither checked nor its styles moved into it, the library's own random "
    "boundaries. The same text, page and calendar object on both sides"
)


def figures(*, n: int, rounds: int) -> list[Figure]:
    """`invite_composed` with `n` invites a round and side. The ratio is the cost of ours against theirs."""
    _check_alike()
    busy = {"ours": 0.0, "theirs": 0.0}

    def timed(side: str, work: Callable[[int], bytes]) -> Callable[[int], float]:
        def run(number: int) -> float:
            began, busy_then = time.perf_counter(), time.process_time()
            for one in range(n):
                work(one)
            busy[side] += time.process_time() - busy_then if number else 0.0
            return (time.perf_counter() - began) / n * 1e6

        return run

    pairs = alternate(rounds, timed("ours", ours), timed("theirs", bare))
    ratio, we, they = compare(pairs, unit="microseconds")
    more = {"octets": {"ours": len(ours(0)), "theirs": len(bare(0))}, **cpu(busy["ours"], busy["theirs"], n=n * rounds)}
    return [Figure("invite_composed", ratio, 1.3, BASELINE, n * rounds, we, they, higher=False, more=more)]


def invite(number: int) -> Invite:
    """One of many pickups."""
    return Invite(
        uid=f"7d4f0c6e-51c3-4f0e-9a0b-{number:012x}", sequence=number % 5, dtstamp=START - timedelta(days=1),
        start=START + timedelta(minutes=15 * number), end=START + timedelta(minutes=15 * number + 15),
        summary="Pickup at Tramstop Bench", description="Thursday, 26 November, 10:00. Please bring your claim ticket.",
        location="Tramstop Bench, 3 Rope Walk, Quillhaven", organizer_name="Tramstop Bench", organizer_address=REPLY_TO,
        attendee_name="Ines Farrow", attendee_address=TO,
    )  # fmt: skip


def ours(number: int) -> bytes:
    """The product's two functions, one after the other."""
    one = invite(number)
    return compose_mail(
        sender=Mailbox("Tramstop Bench", SENDER), to=TO, reply_to=REPLY_TO, subject="Your pickup is booked", text=TEXT,
        html=HTML, message_id=f"<{one.uid}@example.org>", date=one.dtstamp, language="en", invite=invite_bytes(one),
        method=one.method,
    )  # fmt: skip


def bare(number: int) -> bytes:
    """The libraries' own calls and nothing more."""
    one = invite(number)
    octets = _bare_object(one)
    mail = EmailMessage(policy=SMTP)
    head = {
        "From": f"Tramstop Bench <{SENDER}>", "To": TO, "Reply-To": REPLY_TO, "Subject": "Your pickup is booked",
        "Date": format_datetime(one.dtstamp), "Message-ID": f"<{one.uid}@example.org>", "Content-Language": "en",
        "Auto-Submitted": "auto-generated",
    }  # fmt: skip
    for name, value in head.items():
        mail[name] = value
    mail.set_content(TEXT, cte="quoted-printable")
    mail.add_alternative(HTML, subtype="html", cte="quoted-printable")
    mail.add_alternative(octets, maintype="text", subtype="calendar", cte="base64",
                         params={"method": "REQUEST", "charset": "UTF-8"})  # fmt: skip
    mail.add_attachment(octets, maintype="application", subtype="ics", cte="base64", filename="pickup.ics")
    return mail.as_bytes()


def _bare_object(one: Invite) -> bytes:
    calendar, event = Calendar(), Event()
    for name, value in (("prodid", "-//Shelfbell//Pickup 1//EN"), ("version", "2.0"), ("method", "REQUEST")):
        calendar.add(name, value)
    organizer, attendee = vCalAddress(f"mailto:{one.organizer_address}"), vCalAddress(f"mailto:{one.attendee_address}")
    organizer.params["CN"], attendee.params["CN"] = one.organizer_name, one.attendee_name
    for name, value in (
        ("CUTYPE", "INDIVIDUAL"), ("ROLE", "REQ-PARTICIPANT"), ("PARTSTAT", "NEEDS-ACTION"), ("RSVP", "TRUE")
    ):  # fmt: skip
        attendee.params[name] = value
    for name, whatever in (
        ("uid", one.uid), ("dtstamp", one.dtstamp), ("sequence", one.sequence), ("dtstart", one.start),
        ("dtend", one.end), ("summary", one.summary), ("location", one.location), ("description", one.description),
        ("status", "CONFIRMED"), ("class", "PRIVATE"), ("organizer", organizer), ("attendee", attendee),
    ):  # fmt: skip
        event.add(name, whatever)
    calendar.add_component(event)
    return bytes(calendar.to_ical(sorted=False))


def _check_alike() -> None:
    """Both sides write the same calendar object, or the comparison means nothing."""
    one = invite(3)
    assert [line.raw for line in read_lines(_bare_object(one))] == [line.raw for line in read_lines(invite_bytes(one))]
