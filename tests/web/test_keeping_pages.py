"""What an owner sets about keeping: rules that are asked about before they count, and reasons to keep one's data."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from flask import Flask
from sqlalchemy import update

from notify.flows import data_holds, keep_rules
from notify.store import schema
from tests.flows.test_keeping import DAY, home
from tests.web.conftest import Browser, sign_in
from tests.web.staff_pages import Reader

pytestmark = pytest.mark.long
KEEP = "/settings/retention"


def rules(house: Any) -> Any:
    """The rule of contact cards: today's, and the one to come."""
    return next(one for one in keep_rules.list_rules(house.ctx, house.actor()) if one.now.data_class == "contact_card")


def forms(html: str, action: str) -> list[dict[str, list[str]]]:
    """What each form of a page with that action would send, as a browser gathers it once its button is pressed."""
    found = []
    for form in Reader(html).forms:
        if form.action == action:
            sent: dict[str, list[str]] = {}
            for name, value in (*form.fields, *((name, value) for name, value, _ in form.buttons if name)):
                sent.setdefault(name, []).append(value)
            found.append(sent)
    return found


def owing(house: Any) -> None:
    """Somebody whose repair cost more than they have paid."""
    visit = home(house)
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(
            update(schema.tickets)
            .where(schema.tickets.c.id == visit.ticket_ids[0])
            .values(paid=False, price_agreed=2000)
        )


def test_a_shorter_period_is_kept_only_when_it_is_said_again(app: Flask, house: Any) -> None:
    """GDPR art. 5(2): whoever decides can show that they knew; nothing that is forgotten comes back."""
    home(house)
    house.clock.advance(40 * DAY)
    owner = sign_in(app, house, role="owner")
    asked = owner.post(KEEP, {"data_class": "contact_card", "days": "30", "source": "our own choice"})
    page = asked.get_data(as_text=True)
    assert asked.status_code == 409 and "One person more goes in the first night" in page and "cannot be taken" in page
    assert rules(house).to_come is None
    sure = next(one for one in forms(page, KEEP) if "sure" in one)
    assert owner.post(KEEP, sure).status_code == 303
    kept = rules(house).to_come
    assert (kept.period, kept.source) == ("P30D", "our own choice") and kept.valid_from > house.clock().date()
    assert owner.post(KEEP, {"data_class": "contact_card", "days": "90"}).status_code == 303  # the slip is taken back
    assert rules(house).to_come is None


def test_a_reason_is_dropped_on_the_page_only_when_it_is_said_again_and_some_never(app: Flask, house: Any) -> None:
    """A hold for a claim cannot be switched off: GDPR art. 17(3)(e) and 18(1)(c)."""
    owing(house)
    house.clock.advance(100 * DAY)
    owner = sign_in(app, house, role="owner")
    page = owner.get("/settings").get_data(as_text=True)
    form = next(one for one in forms(page, KEEP) if "reasons" in one)
    assert form["longer_while"] == ["uncollected", "unpaid", "follow_up"] and "Always longer while" in page
    dropped = {**form, "longer_while": ["uncollected"]}
    asked = owner.post(KEEP, dropped)
    page = asked.get_data(as_text=True)
    assert asked.status_code == 409 and rules(house).to_come is None
    sure = next(one for one in forms(page, KEEP) if "sure" in one)
    assert sure["longer_while"] == ["uncollected"] and owner.post(KEEP, sure).status_code == 303
    kept = rules(house).to_come
    assert (kept.period, set(kept.exceptions) & {"unpaid", "uncollected"}) == ("P90D", {"uncollected"})
    assert {"dispute", "legal", "request"} <= set(kept.exceptions)
    wrong = owner.post(KEEP, {**form, "longer_while": ["whim"]})
    assert wrong.status_code == 422 and "whim" in wrong.get_data(as_text=True)
    technician = sign_in(app, house, role="technician", name="Tam")
    assert technician.post(KEEP, {"reasons": "contact_card"}, seen="/").status_code == 403


def test_a_hold_is_set_looked_at_again_and_ended_on_the_ticket_and_what_was_typed_stays(app: Flask, house: Any) -> None:
    ticket = home(house).ticket_ids[0]
    owner, here = sign_in(app, house, role="owner"), f"/tickets/{ticket}"
    typed = {"reason": "dispute", "note": "hum", "review_on": ""}
    refused = owner.post(f"{here}/hold", typed)
    page = refused.get_data(as_text=True)
    assert refused.status_code == 422 and 'href="#hold-note"' in page and 'value="hum"' in page
    assert data_holds.list_holds(house.ctx, house.actor()) == ()
    assert owner.post(f"{here}/hold", typed | {"note": "the hum is back, they say"}).status_code == 303
    (hold,) = data_holds.list_holds(house.ctx, house.actor())
    assert "something is in dispute (the hum is back, they say)" in owner.get(here).get_data(as_text=True)
    day = house.clock().date() + timedelta(days=20)
    late = owner.post(f"{here}/hold", {"hold": hold.id, "do": "review", "review_on": "2020-01-01"})
    assert late.status_code == 422 and f'href="#again-{hold.id}"' in late.get_data(as_text=True)
    assert owner.post(f"{here}/hold", {"hold": hold.id, "do": "review", "review_on": str(day)}).status_code == 303
    assert [one.review_on for one in data_holds.list_holds(house.ctx, house.actor())] == [day]
    counter: Browser = sign_in(app, house, role="counter", name="Kim")
    assert "the hum is back" not in counter.get(here).get_data(as_text=True)
    assert counter.post(f"{here}/hold", {"hold": hold.id, "do": "end"}).status_code == 403
    assert owner.post(f"{here}/hold", {"hold": hold.id, "do": "end"}).status_code == 303
    assert data_holds.list_holds(house.ctx, house.actor()) == ()
