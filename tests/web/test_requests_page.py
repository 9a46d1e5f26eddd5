"""The shop's list of requests about people's own data: noted, proved, answered, by whom; one tap on a letter."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask import Flask

from notify.flows.hear_reply import Heard, hear
from tests.web.conftest import sign_in
from tests.web.test_replies_page import seen

pytestmark = pytest.mark.long


def test_a_letter_becomes_a_request_with_one_tap_and_is_proved_and_answered(app: Flask, house: Any) -> None:
    owner = sign_in(app, house, role="owner")
    done = house.check_in()
    house.deliver(after=91)
    reply = hear(house.ctx, house.shop_id, Heard("email", "ines@example.org", "Please delete all my data",
                                                 house.clock(), "k", "mail"))  # fmt: skip
    assert "Make it a request" in seen(owner, "/replies")
    here = owner.post(f"/replies/{reply}/request", seen="/replies").headers["Location"]
    assert "Make sure first who asks" in seen(owner, here)
    assert owner.post(f"{here}/prove", {"made_sure": "no"}, seen=here).status_code == 422
    owner.post(f"{here}/prove", {"made_sure": "showed a passport"}, seen=here)
    page = seen(owner, here)
    assert "It waits, since a device of theirs is here" in page and "showed a passport" in page
    refused = owner.post(f"{here}/refuse", {"reason": "busy", "note": "we are busy"}, seen=here)
    assert refused.status_code == 422
    owner.post(f"{here}/refuse", {"reason": "exception", "note": "a claim is running"}, seen=here)
    assert "Refused. The law lets us keep it." in seen(owner, "/requests") and "No request is open" in seen(
        owner, "/requests"
    )
    again = owner.post(f"{here}/withdraw", seen=here)
    assert again.status_code == 422 and "over already" in again.get_data(as_text=True)
    assert done.visit_id not in here


def test_the_counter_takes_a_request_in_and_only_the_owner_answers_and_hands_over(app: Flask, house: Any) -> None:
    counter, owner = sign_in(app, house, role="counter"), sign_in(app, house, role="owner")
    number = house.check_in().numbers[0]
    form = {"number": number, "who": "bringer", "kind": "access", "how": "post", "made_sure": "showed a passport"}
    wrong = counter.post("/requests/take", form | {"number": "nonsense"}, seen="/requests")
    assert wrong.status_code == 422 and "showed a passport" in wrong.get_data(as_text=True)
    here = counter.post("/requests/take", form, seen="/requests").headers["Location"]
    assert "Answer by" in seen(counter, here) and "It is done" not in seen(counter, here)
    assert counter.post(f"{here}/done", seen=here).status_code == 403
    assert counter.get(f"{here}/held.json").status_code == 403
    assert json.loads(owner.get(f"{here}/held.json").get_data())["person"][0]["name"] == "Ines Farrow"
    house.clock.advance(26 * 86400)
    late = sign_in(app, house, role="owner", name="Bea")
    assert "Requests about their own data" in seen(late, "/") and "days left" in seen(late, "/")
    house.clock.advance(20 * 86400)
    assert "Late by" in seen(sign_in(app, house, role="owner", name="Cal"), "/")


def test_data_set_aside_stand_on_the_list_and_on_the_ticket_until_their_end_was_told(app: Flask, house: Any) -> None:
    """GDPR art. 18(3): informed before the restriction is lifted; so the first press only tells."""
    owner, done = sign_in(app, house, role="owner"), house.check_in()
    form = {
        "number": done.numbers[0],
        "who": "bringer",
        "kind": "restriction",
        "how": "counter",
        "made_sure": "passport",
    }
    here = owner.post("/requests/take", form, seen="/requests").headers["Location"]
    assert "nothing of theirs is forgotten until you end it" in seen(owner, here)
    owner.post(f"{here}/done", {"note": "set aside"}, seen=here)
    assert "Data set aside" in seen(owner, "/requests") and "No request is open" in seen(owner, "/requests")
    assert "only what gives the device back is sent" in seen(owner, f"/tickets/{done.ticket_ids[0]}")
    assert sign_in(app, house, role="counter").post(f"{here}/lift", seen=here).status_code == 403
    owner.post(f"{here}/lift", seen=here)
    assert "Give them a day to answer, then press once more" in seen(owner, here)
    early = owner.post(f"{here}/lift", seen=here)
    assert early.status_code == 422 and 'href="#lift-told"' in early.get_data(as_text=True)
    house.deliver(after=91)
    owner.post(f"{here}/lift", seen=here)
    assert "Data set aside" not in seen(owner, "/requests") and "Use their data again" not in seen(owner, here)
