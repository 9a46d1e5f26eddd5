"""What calendars asked, on every sheet where staff look, settled with one press; and the claim page afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest

from notify.core.itip import Answer, Partstat
from notify.flows import pickup
from notify.flows.hear_reply import Heard, hear
from notify.store import bookings, calendar_answers
from tests.parts.shelved import shelve, token_of
from tests.web.staff_pages import Form, Reader

pytestmark = pytest.mark.long

INES = "ines@example.org"
SHEETS = ("/", "/pickups?day=2026-11-26", "/replies")


@dataclass
class Stage:
    """One device ready, a pickup booked at ten, and what its calendar says."""

    house: Any
    visit_id: str
    ticket_id: str
    uid: str

    def says(self, key: str, partstat: Partstat, *, proved: bool = True, **more: Any) -> None:
        said = Answer(**({"method": "REPLY", "uid": self.uid, "attendee": INES, "partstat": partstat,
                          "stamp": self.house.clock()} | more))  # fmt: skip
        heard = Heard("email", INES, "", self.house.clock(), key, "mail", calendar_answers=(said,), proved=proved)
        hear(self.house.ctx, self.house.shop_id, heard)

    def booking(self) -> Any:
        with self.house.read() as unit:
            return bookings.live_booking(unit, self.visit_id)


@pytest.fixture
def stage(house: Any) -> Stage:
    done = house.check_in()
    shelve(house, done.ticket_ids[0])
    made = pickup.book(house.ctx, house.customer(), done.visit_id, datetime(2026, 11, 26, 10))
    house.deliver(after=91)
    return Stage(house, done.visit_id, done.ticket_ids[0], made.uid)


def look(client: Any, path: str) -> Reader:
    answer = client.get(path)
    assert answer.status_code == 200, path
    return Reader(answer.get_data(as_text=True))


def words(page: Reader) -> str:
    return " ".join(" ".join(page.words).split())


def buttons(page: Reader) -> dict[str, Form]:
    """Decision -> the form that carries it out; of several times the first one."""
    found: dict[str, Form] = {}
    for form in page.forms:
        if form.action.startswith("/calendar-answers/"):
            found.setdefault(dict(form.fields)["choice"], form)
    return found


def press(client: Any, form: Form, *, seen: str) -> Any:
    return client.post(form.action, dict(form.fields), seen=seen)


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_no_that_is_not_proved_is_settled_with_one_press_wherever_it_is_seen(
    stage: Stage, signed_in: Any, sheet: str
) -> None:
    stage.says("c1", Partstat.DECLINED, proved=False)
    page = look(signed_in, sheet)
    assert "nothing proves that it was theirs. The place is kept; ask them." in words(page)
    can = buttons(page)
    assert list(can) == ["free", "keep"]
    answer = press(signed_in, can["free"], seen=sheet)
    assert answer.status_code == 303 and answer.headers["Location"].endswith(sheet.partition("?")[0])
    assert stage.booking() is None
    assert "The place is free again, and the customer is told." in words(look(signed_in, sheet))
    assert "already" in words(after(signed_in, can["keep"], sheet))  # an old page in another window


def after(client: Any, form: Form, sheet: str) -> Reader:
    press(client, form, seen=sheet)
    return look(client, sheet)


def test_a_proposal_says_what_is_asked_for_and_one_press_moves_the_pickup(stage: Stage, signed_in: Any) -> None:
    start = stage.booking().start_at + timedelta(hours=6, minutes=5)
    stage.says("c1", Partstat.TENTATIVE, method="COUNTER", start=start, comment="After <b>work</b>")
    page = look(signed_in, "/")
    assert "They ask for tomorrow at 16:05" in words(page) and "“After <b>work</b>”" in words(page)
    assert "Move it to tomorrow, 16:00" in words(page)
    press(signed_in, buttons(page)["take"], seen="/")
    assert stage.booking().local_start == "2026-11-26T16:00"
    assert "The pickup is moved, and the customer is told." in words(look(signed_in, "/"))


def test_a_press_that_comes_too_late_says_why_and_changes_nothing(stage: Stage, signed_in: Any) -> None:
    stage.says("c1", Partstat.DECLINED, proved=False)
    form = buttons(look(signed_in, "/"))["free"]
    pickup.book(stage.house.ctx, stage.house.customer(), stage.visit_id, datetime(2026, 11, 26, 17, 30))
    assert "The pickup was changed after their calendar had answered" in words(after(signed_in, form, "/"))
    assert stage.booking().local_start == "2026-11-26T17:30"


@pytest.mark.parametrize("fields", [{"choice": "sell"}, {"choice": ""}, {"choice": "take", "slot": "noon"}])
def test_a_form_that_nobody_could_have_pressed_is_refused_in_words(
    stage: Stage, signed_in: Any, fields: dict[str, str]
) -> None:
    stage.says("c1", Partstat.TENTATIVE, method="COUNTER", start=stage.booking().start_at + timedelta(hours=3))
    form = buttons(look(signed_in, "/"))["take"]
    form.fields = [*((name, value) for name, value in form.fields if name not in fields), *fields.items()]
    said = words(after(signed_in, form, "/"))
    assert "There is no such decision" in said or "is no pickup time" in said
    assert stage.booking().local_start == "2026-11-26T10:00"


@pytest.mark.parametrize("choice", ["free", "keep", "take", "no", "seen"])
def test_the_ticket_tells_what_its_calendar_said_and_what_was_decided(
    stage: Stage, signed_in: Any, choice: str
) -> None:
    stage.says("c1", Partstat.ACCEPTED)
    stage.house.clock.advance(60)
    if choice in ("take", "no"):
        stage.says("c2", Partstat.TENTATIVE, method="COUNTER", start=stage.booking().start_at + timedelta(hours=6))
    else:
        stage.says("c2", Partstat.DELEGATED if choice == "seen" else Partstat.DECLINED, proved=False)
    press(signed_in, buttons(look(signed_in, "/"))[choice], seen="/")
    said = words(look(signed_in, f"/tickets/{stage.ticket_id}"))
    assert "Their calendar answered: yes" in said
    assert "It was decided about what their calendar answered: " in said and "it is settled" not in said


def test_what_a_calendar_said_stands_beside_the_pickup(stage: Stage, signed_in: Any) -> None:
    stage.says("c1", Partstat.TENTATIVE, proved=False)
    assert "Their calendar said maybe. Nothing proves that it was theirs." in words(look(signed_in, SHEETS[1]))
    stage.house.clock.advance(60)
    stage.says("c2", Partstat.ACCEPTED)
    said = words(look(signed_in, SHEETS[1]))
    assert "Their calendar said yes." in said and "Nothing proves" not in said


def test_after_a_no_through_the_calendar_the_claim_page_offers_times_again_and_says_why(
    stage: Stage, client: Any
) -> None:
    token = token_of(stage.house, stage.ticket_id)
    before = client.get(f"/c/{token}").get_data(as_text=True)
    stage.says("c1", Partstat.DECLINED)
    page = client.get(f"/c/{token}").get_data(as_text=True)
    assert "Your calendar said no, so the pickup time is free again." in page and page != before
    assert f"/c/{token}/slots" in page
    with stage.house.read() as unit:
        assert calendar_answers.open_answers(unit) == ()
