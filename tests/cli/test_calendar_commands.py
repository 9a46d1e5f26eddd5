"""What a calendar answered, by command: the mailbox is read, what it asks is listed, and decided once."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Shop
from tests.parts.answers import attendee_line, calendar_object, carrying

IDA = "ida@example.org"


@pytest.fixture
def box(shop: Shop) -> Path:
    """A Maildir that the settings name."""
    folder, file = shop.installation.config.parent / "box", shop.installation.config
    for name in ("new", "cur", "tmp"):
        (folder / name).mkdir(parents=True)
    wanted = f'\n[inbox]\ntransport = "maildir"\nmaildir = "{folder}"\n'
    file.write_text(file.read_text("utf-8").replace("\n[inbox]\n", wanted), "utf-8")
    return folder


def booked(shop: Shop) -> tuple[str, str, datetime]:
    """A radio that is ready with a pickup booked: (number, UID of the invite, start)."""
    number = shop.check_in()
    shop.shelve(number)
    slot = shop.ok("pickup", "slots", number, "--json").data[8]["slot"]
    start = datetime.fromisoformat(shop.ok("pickup", "book", number, slot, "--json").data["start"])
    (file,) = shop.installation.config.parent.rglob("shelfbell.db")
    with sqlite3.connect(file) as read:
        ((uid,),) = read.execute("select uid from bookings").fetchall()
    return number, uid, start


def answers(shop: Shop, box: Path, uid: str, key: str, *lines: str, method: str, partstat: str) -> None:
    """A letter of Ida's calendar that nothing proves, taken."""
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
    inside = calendar_object(*lines, method=method, uid=uid, organizer="", stamp=stamp,
                             attendee=attendee_line(IDA, partstat))  # fmt: skip
    raw = carrying(inside, method=method, sender=IDA, to="counter@example.org", results="", key=key)
    (box / "new" / f"{key}.test").write_bytes(raw)
    assert shop.ok("inbox", "--once", "--json").data["counts"] == {"reply": 1}


@pytest.mark.long
def test_what_calendars_ask_is_listed_and_decided_by_command(shop: Shop, box: Path) -> None:
    number, uid, start = booked(shop)
    assert "No calendar asks anything." in shop.ok("pickup", "answers").out
    answers(shop, box, uid, "k1", method="REPLY", partstat="DECLINED")
    (asked,) = shop.ok("pickup", "answers", "--json").data
    assert (asked["asked"], asked["can"], asked["number"]) == ("no_unproved", ["free", "keep"], number)
    said = shop.ok("pickup", "answers").out
    assert number in said and "Ida Moss" in said and "free|keep" in said
    short = asked["id"][:8]
    assert "The place is kept." in shop.ok("pickup", "answer", short, "keep").out
    shop.ok("pickup", "answer", short, "keep")  # the same again is no fault
    late = shop("pickup", "answer", short, "free")
    assert late.code == 5 and "Somebody has decided about it already" in late.err
    wanted = start + timedelta(hours=1)
    answers(shop, box, uid, "k2", f"DTSTART:{wanted:%Y%m%dT%H%M%SZ}", "SUMMARY:Pickup", method="COUNTER",
            partstat="TENTATIVE")  # fmt: skip
    (asked,) = shop.ok("pickup", "answers", "--json").data
    slots = [asked["fits"], *asked["near"]]
    chosen = next(one["slot"]["local"][:16] for one in slots if one)
    assert shop("pickup", "answer", asked["id"], "take", "--slot", "noon").code == 2
    assert "moved" in shop.ok("pickup", "answer", asked["id"], "take", "--slot", chosen).out
    assert chosen[11:] in shop.ok("pickup", "list", "--day", chosen[:10]).out
    assert shop.ok("pickup", "answers", "--json").data == []
    assert shop("pickup", "answer", "nothing", "keep").code == 4
