"""The feed's events in a real CalDAV server: each is PUT, kept, and read back with the same meaning."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import urllib3
import vobject
from icalendar import Calendar

from notify.flows import feeds, pickup
from tests.flows.test_pickup import at, ready_visit
from tests.parts.processes import die_with_parent, end, free_ports
from tests.web.conftest import Browser, app_of

pytestmark = pytest.mark.real
WAIT = 60.0  # seconds until a server that was just started answers


@pytest.fixture
def calendar(tmp_path: Path) -> Iterator[str]:
    """The address of an empty calendar on a radicale server of our own, on loopback, that asks nobody who they are."""
    [port] = free_ports(1)
    command = [sys.executable, "-m", "radicale", "--config", "", "--server-hosts", f"127.0.0.1:{port}",
               "--storage-filesystem-folder", str(tmp_path / "kept"), "--auth-type", "none"]  # fmt: skip
    server = subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, preexec_fn=die_with_parent(signal.SIGTERM)
    )
    try:
        home = f"http://127.0.0.1:{port}/bench/pickups/"
        _make(home)
        yield home
    finally:
        end(server)


def _make(home: str) -> None:
    ends = time.monotonic() + WAIT
    while True:
        try:
            urllib3.request("MKCOL", home.removesuffix("pickups/"), retries=False, timeout=5)
            answer = urllib3.request("MKCALENDAR", home, retries=False, timeout=5)
        except urllib3.exceptions.HTTPError:
            assert time.monotonic() < ends, "radicale did not start"
            time.sleep(0.1)
            continue
        assert answer.status == 201  # RFC 4791 5.3.1
        return


def the_feed(house: Any) -> bytes:
    """A feed with a pickup that stands, one that moved, one given up and one with awkward names."""
    for hour, name in ((10, "Ines Farrow"), (11, 'Ängström; "Ü", x \\ y'), (12, "Bo"), (13, "李 小龙")):
        visit_id, _ = ready_visit(house, name=name)
        pickup.book(house.ctx, house.customer(), visit_id, at(hour))
        if hour == 11:
            pickup.book(house.ctx, house.customer(), visit_id, at(15, 30))
        if hour == 12:
            pickup.cancel(house.ctx, house.customer(), visit_id)
    path = feeds.make_feed(house.ctx, house.actor(), "Round trip").path
    octets: bytes = Browser(app_of(house.services)).get(path).data
    return octets


def split(feed: bytes) -> dict[str, bytes]:
    """uid -> a calendar file of that one event, its lines as they stand in the feed: what a calendar program stores."""
    head, *rest = feed.split(b"BEGIN:VEVENT\r\n")
    start = b"".join(line + b"\r\n" for line in head.split(b"\r\n")[:3])  # BEGIN, PRODID, VERSION
    bodies = [one.partition(b"END:VEVENT\r\n")[0] for one in rest]
    return {
        body.split(b"UID:")[1].split(b"\r\n")[0].decode():
        start + b"BEGIN:VEVENT\r\n" + body + b"END:VEVENT\r\nEND:VCALENDAR\r\n"
        for body in bodies
    }  # fmt: skip


def meaning(octets: bytes) -> list[tuple[str, str, str]]:
    """Every property of the event by name, with its parameters and value; the order means nothing (RFC 5545 3.6)."""
    event: Any = Calendar.from_ical(octets.decode()).walk("VEVENT")[0]
    return sorted((name, value.params.to_ical().decode(), value.to_ical().decode())
                  for name, value in event.property_items(recursive=False, sorted=False)
                  if name not in ("BEGIN", "END") and hasattr(value, "params"))  # fmt: skip


def test_a_real_calendar_server_takes_each_event_of_the_feed_and_gives_it_back_unchanged(
    house: Any, calendar: str
) -> None:
    feed = the_feed(house)
    assert b"METHOD" not in feed  # RFC 4791 4.1; radicale itself would take it
    parts, equal = split(feed), 0
    for uid, octets in parts.items():
        put = urllib3.request("PUT", f"{calendar}{uid}.ics", body=octets, headers={"Content-Type": "text/calendar"})
        assert put.status == 201, put.data[:200]
    for uid, octets in parts.items():
        kept = urllib3.request("GET", f"{calendar}{uid}.ics")
        assert kept.status == 200 and kept.headers["Content-Type"].startswith("text/calendar")
        assert len(meaning(octets)) >= 9
        equal += meaning(kept.data) == meaning(octets)
    whole = urllib3.request("GET", calendar).data
    uids = {one.uid.value for one in vobject.readOne(whole.decode()).vevent_list}
    print(f"FIGURE radicale events={len(parts)} equal={equal}")
    assert equal == len(parts) == 4 and uids == set(parts)
    changed = next(iter(parts.values())).replace(b"SUMMARY:", b"SUMMARY:x")
    assert meaning(changed) != meaning(next(iter(parts.values()))), "the comparison can fail"


def test_the_server_refuses_what_is_no_event_so_its_yes_means_something(calendar: str) -> None:
    for octets in (b"BEGIN:VCALENDAR\r\n", b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:x\r\nEND:VCALENDAR\r\n"):
        assert urllib3.request("PUT", f"{calendar}x.ics", body=octets).status >= 400
