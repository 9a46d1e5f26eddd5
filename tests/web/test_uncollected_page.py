"""The pages of uncollected devices: the list, the steps about one, the draft, the rules; who may do what."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pypdfium2
import pytest

from notify.flows.check_in_form import DeviceForm
from notify.store import tickets
from tests.parts.shelved import shelve
from tests.web.conftest import make_app, sign_in
from tests.web.staff_pages import Reader

RULE = {
    "code": "quay", "name": "Quay law", "notice_after_days": "14", "wait_days": "0", "form": "in writing",
    "source": "Quay Act s. 1", "checked_on": "2026-11-20",
}  # fmt: skip
STEPS = ("no_data", "cautions_read", "money_noted")


def text(answer: Any) -> str:
    return Reader(answer.get_data(as_text=True)).text


def overdue(house: Any) -> str:
    done = house.check_in(DeviceForm("Kestrel radio", price_agreed="24"))
    shelve(house, done.ticket_ids[0])
    house.deliver(after=91)
    house.clock.advance(timedelta(days=30).total_seconds())
    return str(done.ticket_ids[0])


@pytest.mark.long
def test_an_owner_goes_from_the_list_over_the_steps_to_closing_it(house: Any) -> None:
    ticket = overdue(house)
    owner = sign_in(make_app(house), house, role="owner")
    page = text(owner.get("/uncollected"))
    assert "One device is overdue" in page and "Told on 25 November 2026 by text message" in page
    assert "not legal advice" in page and "decided and done by a person" in page
    kept = owner.post("/uncollected/rules/keep", data=RULE | {"verified": "yes", "active": "yes"})
    assert kept.status_code == 303
    one = f"/uncollected/{ticket}"
    assert "The notice may be given since 10 December 2026" in text(owner.get(one))
    refused = owner.post(f"{one}/leave", data={"reason": "local_steps_done"})
    assert refused.status_code == 409 and "nobody noted what is owed" in text(refused)
    for step in STEPS:
        assert owner.post(f"{one}/step", data={"step": step, "on": "2026-12-25"}).status_code == 303
    missing = owner.post(f"{one}/step", data={"step": "notice_given", "on": "2026-12-25"})
    assert missing.status_code == 422 and "How the notice was given is missing" in text(missing)
    given = {"step": "notice_given", "on": "2026-12-25", "how": "by_hand"}
    assert owner.post(f"{one}/step", data=given).status_code == 303
    assert "a person may decide" in text(owner.get(one)) and "by hand: 25 December 2026" in text(owner.get(one))
    assert owner.post(f"{one}/leave", data={"reason": "local_steps_done"}).status_code == 303
    assert "Closed as never collected on 25 December 2026" in text(owner.get("/uncollected"))
    with house.read() as unit:
        assert tickets.get_ticket(unit, ticket).phase == "left_behind"


@pytest.mark.long
def test_a_rule_without_a_day_of_reading_is_refused_with_everything_typed_kept(house: Any) -> None:
    owner = sign_in(make_app(house), house, role="owner")
    answer = owner.post("/uncollected/rules/keep", data=RULE | {"checked_on": "", "verified": "yes", "active": "yes"})
    shown = answer.get_data(as_text=True)
    assert answer.status_code == 422 and "needs the day on which the law was read" in shown and "Quay Act s. 1" in shown
    unverified = owner.post("/uncollected/rules/keep", data=RULE | {"active": "yes"})
    assert unverified.status_code == 422 and "not verified" in text(unverified)
    assert "No rule of the law is verified" in text(owner.get("/uncollected"))


@pytest.mark.long
def test_the_draft_opens_as_one_page_and_noting_or_closing_needs_the_right_role(house: Any) -> None:
    ticket = overdue(house)
    app = make_app(house)
    counter = sign_in(app, house, role="counter")
    answer = counter.get(f"/uncollected/{ticket}/notice.pdf")
    page = pypdfium2.PdfDocument(answer.get_data())[0].get_textpage().get_text_bounded()
    assert answer.mimetype == "application/pdf" and "Kestrel radio" in page and "£24.00" in page
    assert counter.post(f"/uncollected/{ticket}/leave", data={"reason": "other"}).status_code == 403
    assert counter.post("/uncollected/rules/keep", data=RULE).status_code == 403
    assert counter.post(f"/uncollected/{ticket}/step", data={"step": "wiped", "on": ""}).status_code == 303
    assert counter.get("/uncollected/nobody").status_code == 404
