"""The shop's own calendar: a secret, revocable address, the least about each pickup, news asked for cheaply."""

from __future__ import annotations

import logging
import re
from datetime import timedelta
from typing import Any

import pytest
import vobject
from sqlalchemy import select

from notify.core.errors import Invalid, NotAllowed, NotFound
from notify.core.mask import initials
from notify.flows import feeds, forget, handover, pickup, reminders
from notify.flows.check_in_form import DeviceForm
from notify.store import bookings, tickets
from notify.store.schema import metadata
from tests.flows.test_pickup import at, ready_visit
from tests.parts.calendar_mail import objects
from tests.parts.content_lines import only, read_lines
from tests.parts.shelved import shelve, token_of
from tests.web.conftest import Browser
from tests.web.database_digest import changed_tables, digest

pytestmark = pytest.mark.long


def make(house: Any, name: str = "Phone at the counter") -> str:
    """The path of a new feed."""
    return str(feeds.make_feed(house.ctx, house.actor(), name).path)


def events(answer: Any) -> list[Any]:
    return list(getattr(vobject.readOne(answer.get_data(as_text=True)), "vevent_list", []))


def test_the_feed_lists_pickups_with_initials_kind_and_number_and_nothing_else(house: Any, client: Browser) -> None:
    done = house.check_in(
        DeviceForm("Kestrel pocket radio", "radio", fault="hums badly", price_agreed="45"),
        DeviceForm("Otter", "camera"),
    )
    for ticket_id in done.ticket_ids:
        shelve(house, ticket_id)
    pickup.book(house.ctx, house.customer(), done.visit_id, at(10))
    house.deliver(after=91)
    answer = client.get(make(house))
    assert (answer.status_code, answer.headers["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    with house.read() as unit:
        whole = tickets.tickets_of_visit(unit, done.visit_id)
        booking = bookings.live_booking(unit, done.visit_id)
    assert booking is not None
    [event] = events(answer)
    numbers = sorted(f"{t.number[:3]}-{t.number[3:]}" for t in whole)
    assert sorted(event.summary.value.removeprefix("I. F.: ").split(", ")) == ["camera", "portable radio"]
    assert event.summary.value.startswith("I. F.: ")
    assert event.description.value == ", ".join(numbers)
    assert event.dtstart.value.isoformat() == "2026-11-26T10:00:00+00:00" and event.status.value == "CONFIRMED"
    text = answer.get_data(as_text=True).replace("\r\n ", "")
    told = {"Ines", "Farrow", "ines@", "07700", "Kestrel", "Otter", "hums", "45", "/c/", booking.uid,
            booking.organizer_token, booking.id, *(t.token for t in whole), *(t.id for t in whole)}  # fmt: skip
    assert not [word for word in told if word in re.sub(r"(UID|DTSTAMP|DTSTART|DTEND|DESCRIPTION):.*", "", text)]
    assert not [word for word in told - {"45"} if word in text]


def test_each_event_keeps_a_uid_of_its_own_and_its_sequence_never_falls(house: Any, client: Browser) -> None:
    path = make(house)
    visit_id, ticket_id = ready_visit(house)
    seen = []

    def look() -> None:
        house.deliver(after=91)
        seen.append(events(client.get(path)))

    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    look()
    pickup.book(house.ctx, house.customer(), visit_id, at(11))
    look()
    pickup.cancel(house.ctx, house.customer(), visit_id)
    look()
    pickup.book(house.ctx, house.customer(), visit_id, at(12))
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket_id], token=token_of(house, ticket_id))
    look()
    assert [len(one) for one in seen] == [1, 1, 1, 2]
    assert len({one[0].uid.value for one in seen[:3]}) == 1
    assert [one[0].sequence.value for one in seen[:3]] == ["0", "1", "2"]
    stamps = [one[0].dtstamp.value for one in seen[:3]]
    assert stamps == sorted(stamps)
    assert [one.status.value for one in seen[-1]] == ["CANCELLED", "CONFIRMED"]
    assert [one.description.value.split("\n")[1] for one in seen[-1]] == ["Given up.", "Collected."]
    customers = {one.uid for one in objects(house)}
    assert customers and customers.isdisjoint(event.uid.value for one in seen for event in one)


def test_a_missed_pickup_stays_thirty_days_and_says_so(house: Any, client: Browser) -> None:
    path = make(house)
    visit_id, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    house.clock.advance(2 * 86400)
    reminders.note_missed(house.ctx, house.system())
    [event] = events(client.get(path))
    assert event.status.value == "CONFIRMED" and event.description.value.endswith("Nobody came.")
    house.clock.advance(28 * 86400)  # 26 November and 30 days: 26 December is the last day
    assert len(events(client.get(path))) == 1
    house.clock.advance(2 * 86400)
    assert events(client.get(path)) == []


def test_somebody_forgotten_has_no_initials_any_more(house: Any, client: Browser) -> None:
    path = make(house)
    visit_id, ticket_id = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    assert events(client.get(path))[0].summary.value.startswith("I. F.: ")
    with house.read() as unit:
        person = tickets.get_ticket(unit, ticket_id).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    [event] = events(client.get(path))
    assert "I. F." not in client.get(path).get_data(as_text=True) and event.summary.value == "device"


@pytest.mark.parametrize(
    ("name", "short"),
    [
        ("Mia Oltmann", "M. O."),
        ("mia", "M."),
        ("", ""),
        ("  ", ""),
        ("(Mia) 'Bo' de la Cruz", "M. B. D."),
        ("李 小龙", "李. 小."),
        ("... --", ""),
    ],
)
def test_initials_are_the_first_letters_of_at_most_three_words(name: str, short: str) -> None:
    """Our own rule; no source."""
    assert initials(name) == short


def test_the_head_tells_its_name_and_how_often_to_come_and_has_no_method(house: Any, client: Browser) -> None:
    lines = read_lines(client.get(make(house)).data)
    assert only(lines, "NAME").value == only(lines, "X-WR-CALNAME").value == "Pickups at Tramstop Bench"
    assert only(lines, "REFRESH-INTERVAL").raw == "REFRESH-INTERVAL;VALUE=DURATION:PT15M"  # RFC 7986 5.7
    assert only(lines, "X-PUBLISHED-TTL").value == "PT15M"
    assert not [line for line in lines if line.name in ("METHOD", "ATTENDEE", "ORGANIZER")]


def test_an_unchanged_feed_costs_a_304_and_a_change_another_tag(house: Any, client: Browser) -> None:
    """RFC 9110 13.1.2 and 8.8.3: a strong tag, the same for the same octets."""
    path = make(house)
    visit_id, _ = ready_visit(house)
    pickup.book(house.ctx, house.customer(), visit_id, at(10))
    first = client.get(path)
    tag = first.headers["ETag"]
    assert re.fullmatch(r'"[0-9a-f]{32}"', tag) and first.headers["Cache-Control"] == "private, no-cache"
    house.clock.advance(3600)
    same = client.get(path, headers={"If-None-Match": tag})
    assert (same.status_code, same.data, same.headers["ETag"]) == (304, b"", tag)
    head = client.open("HEAD", path)
    assert (head.status_code, head.data, head.headers["ETag"]) == (200, b"", tag)
    pickup.book(house.ctx, house.customer(), visit_id, at(11))
    after = client.get(path, headers={"If-None-Match": tag})
    assert after.status_code == 200 and after.headers["ETag"] != tag


def test_a_revoked_or_unknown_address_answers_404_and_too_many_of_them_429(house: Any, client: Browser) -> None:
    made = feeds.make_feed(house.ctx, house.actor(), "Phone")
    keep = make(house, "Tablet")
    assert client.get(made.path).status_code == 200
    feeds.revoke_feed(house.ctx, house.actor(), made.id)
    gone = client.get(made.path)
    assert gone.status_code == 404 and b"BEGIN" not in gone.data and "ETag" not in gone.headers
    limit = house.services.settings.limits.claim_tries_an_hour
    answers = [client.get(f"/feeds/{'bcdf' * 7}{n:04}.ics") for n in range(limit + 20)]
    assert {one.status_code for one in answers} == {404, 429} and answers[-1].status_code == 429
    assert int(answers[-1].headers["Retry-After"]) > 0 and answers[-1].data == gone.data
    assert client.get(keep).status_code == 200, "whoever has a right one is never kept out"
    with pytest.raises(NotFound):
        feeds.revoke_feed(house.ctx, house.actor(), made.id)


def test_the_secret_is_long_kept_as_a_hash_shown_once_and_in_no_log(
    house: Any, client: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    made = feeds.make_feed(house.ctx, house.actor(), "Phone")
    secret = made.path.removeprefix("/feeds/").removesuffix(".ics")
    assert re.fullmatch("[bcdfghjklnprstvx]{32}", secret)  # 32 letters of 4 bits: 128 (OWASP ASVS 5.0.0, 11.5.1)
    assert (made.link, made.webcal) == (f"https://bell.example.org{made.path}", f"webcal://bell.example.org{made.path}")
    caplog.set_level(logging.DEBUG)
    client.get(made.path)
    client.get(made.path.replace(secret, "b" * 32))
    assert caplog.records and not any(
        secret in one.getMessage() or "bbbb" in one.getMessage() for one in caplog.records
    )
    assert any("/feeds/<feed>.ics" in one.getMessage() for one in caplog.records)
    with house.ctx.db.engine.connect() as connection:
        rows = [repr(tuple(row)) for table in metadata.sorted_tables for row in connection.execute(select(table))]
    assert not any(secret in row for row in rows)
    [listed] = feeds.list_feeds(house.ctx, house.actor())
    assert secret not in repr(listed) and (listed.name, listed.made_at) == ("Phone", house.clock())


def test_looking_changes_nothing_and_only_an_owner_makes_or_revokes(house: Any, client: Browser) -> None:
    path, before = make(house), digest(house)
    for _ in range(3):
        client.get(path)
        house.clock.advance(600)
    assert not changed_tables(before, digest(house))
    for role in ("counter", "technician"):
        with pytest.raises(NotAllowed):
            feeds.make_feed(house.ctx, house.actor(role), "Mine")
        with pytest.raises(NotAllowed):
            feeds.revoke_feed(house.ctx, house.actor(role), feeds.list_feeds(house.ctx, house.actor())[0].id)
    for name in ("", "x" * 200):
        with pytest.raises(Invalid):
            feeds.make_feed(house.ctx, house.actor(), name)


def test_the_settings_page_makes_one_shows_it_once_lists_and_revokes_it(
    house: Any, signed_in: Browser, client: Browser
) -> None:
    answer = signed_in.post("/settings/feeds", {"name": "Ada's tablet"})
    assert answer.status_code == 303 and "feeds/" not in answer.headers["Location"]
    page = signed_in.get("/settings").get_data(as_text=True)
    [path] = set(re.findall(r"/feeds/[a-z]{32}\.ics", page))
    assert f"https://bell.example.org{path}" in page and f'href="webcal://bell.example.org{path}"' in page
    assert client.get(path).status_code == 200
    again = signed_in.get("/settings").get_data(as_text=True)
    assert path not in again and "Ada&#39;s tablet" in again and "by Ada owner" in again
    [feed] = feeds.list_feeds(house.ctx, house.actor())
    assert signed_in.post("/settings/feeds", {"revoke": feed.id}).status_code == 303
    assert client.get(path).status_code == 404
    assert "Ada&#39;s tablet" not in signed_in.get("/settings").get_data(as_text=True)
    wrong = signed_in.post("/settings/feeds", {"name": " "})
    assert wrong.status_code == 422 and 'id="feed-name"' in wrong.get_data(as_text=True)


def test_a_shop_without_a_public_address_is_told_what_to_put_before_the_path(house: Any) -> None:
    from dataclasses import replace

    made = feeds.make_feed(replace(house.ctx, public_url=""), house.actor(), "Phone")
    assert made.link == made.webcal == "" and made.path.startswith("/feeds/")


def test_the_feed_of_one_shop_shows_no_pickup_of_another(house: Any, client: Browser) -> None:
    from tests.web.test_shops_apart import second_shop

    other = second_shop(house)
    visit_id, _ = ready_visit(other)
    pickup.book(other.ctx, other.customer(), visit_id, at(10))
    assert events(client.get(make(house))) == []
    assert len(events(client.get(make(other)))) == 1


def test_slots_come_in_utc_on_both_sides_of_a_clock_change(house: Any, client: Browser) -> None:
    """Europe/London goes back on 2026-10-25 at 01:00 UTC (tzdata): 10:00 is 09:00Z the day before and 10:00Z after."""
    house.clock.advance((timedelta(days=-36)).total_seconds())
    path = make(house)
    (one, _), (two, _) = ready_visit(house), ready_visit(house)
    pickup.book(house.ctx, house.customer(), one, at(10, 0, house.clock().date().replace(day=24)))
    pickup.book(house.ctx, house.customer(), two, at(10, 0, house.clock().date().replace(day=26)))
    starts = [event.dtstart.value.isoformat() for event in events(client.get(path))]
    assert starts == ["2026-10-24T09:00:00+00:00", "2026-10-26T10:00:00+00:00"]
