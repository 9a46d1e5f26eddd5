"""Who repairs, who is away and what promises are made by, on the settings page: kept, and refused in words."""

from __future__ import annotations

from typing import Any

import pytest
from flask import Flask

from notify.core.shop import PROMISE_TICKS, SHOP_SETTINGS
from notify.flows.check_in_form import DeviceForm
from notify.store import absences, staff
from tests.web.conftest import Browser, sign_in
from tests.web.database_digest import digest
from tests.web.staff_pages import Reader, codes_in

pytestmark = pytest.mark.long
DAYS = {"from_day": "2026-12-01", "from_time": "", "until_day": "2026-12-04", "until_time": ""}
PROMISES = {
    "promise_level": "80", "promise_tick": "15", "promise_warn": "40", "promise_rule": "tell", "proving_minutes": "5",
}  # fmt: skip


def text(browser: Browser, path: str = "/settings") -> str:
    answer = browser.get(path)
    assert answer.status_code == 200
    found = str(Reader(answer.text).text)
    assert not codes_in(found)
    return found


def away(house: Any) -> list[Any]:
    with house.read() as unit:
        return list(absences.list_absences(unit, after=house.clock()))


def fields(page: str, action: str) -> dict[str, str]:
    return dict(next(one for one in Reader(page).forms if one.action == action).fields)


def test_the_tick_says_who_is_at_the_bench_and_that_nobody_is_left(signed_in: Browser, house: Any) -> None:
    me = signed_in.staff_id
    assert fields(signed_in.get("/settings").text, "/settings/bench").get("repairs") == "yes"
    assert signed_in.post("/settings/bench", {"id": me}).status_code == 303
    assert "Ada owner does not repair devices. Nobody is at the bench now, so no ready time can be named." in text(
        signed_in
    )
    assert "repairs" not in fields(signed_in.get("/settings").text, "/settings/bench")
    assert signed_in.post("/settings/bench", {"id": me, "repairs": "yes"}).status_code == 303
    assert "Ada owner repairs devices. At the bench: Ada owner." in text(signed_in)
    with house.read() as unit:
        assert staff.get_staff(unit, me).at_bench


def test_a_sixth_person_at_the_bench_is_refused_beside_the_tick(signed_in: Browser, house: Any) -> None:
    with house.ctx.db.write(house.shop_id) as unit:
        for name in ("Ben", "Cleo", "Dara", "Evan"):
            staff.add_staff(unit, name=name, role="technician", password_hash="", pin_hash="", at=house.clock())
        sixth = staff.add_staff(unit, name="Fay", role="counter", password_hash="", pin_hash="", at=house.clock())
    wrong = signed_in.post("/settings/bench", {"id": sixth, "repairs": "yes"})
    assert wrong.status_code == 422 and f'href="#bench-{sixth}"' in wrong.text and "up to 5 people" in wrong.text


def test_an_absence_is_noted_with_what_it_leaves_empty_and_taken_back(signed_in: Browser, house: Any) -> None:
    house.check_in(DeviceForm("Kestrel radio", promise="2026-12-02T11:30"))
    assert signed_in.post("/settings/away", {"id": signed_in.staff_id, **DAYS}).status_code == 303
    shown = text(signed_in)
    assert "Away: Tuesday, 1 December to Friday, 4 December" in shown
    assert "Nobody is at the bench on Tuesday, 1 December, Wednesday, 2 December, Thursday, 3 December" in shown
    assert "and one more day; one promise falls on those days." in shown
    (one,) = away(house)
    assert signed_in.post("/settings/away", {"back": one.id}).status_code == 303
    assert not away(house) and "Away:" not in text(signed_in)
    assert signed_in.post("/settings/away", {"back": one.id}).status_code == 422


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"from_day": ""}, "from_day"), ({"from_time": "25:00"}, "from_day"), ({"until_day": "soon"}, "until_day"),
        ({"until_day": "2026-11-30"}, "until_day"), ({"until_day": "9999-12-31"}, "until_day"),
        ({"from_day": "2020-01-01", "until_day": "2020-01-02"}, "until_day"),
    ],
)  # fmt: skip
def test_an_absence_that_cannot_be_meant_is_said_beside_its_field_and_keeps_what_was_typed(
    signed_in: Browser, house: Any, wrong: dict[str, str], field: str
) -> None:
    typed = {**DAYS, **wrong}
    answer = signed_in.post("/settings/away", {"id": signed_in.staff_id, **typed})
    assert answer.status_code == 422 and f'href="#away-{signed_in.staff_id}-{field}"' in answer.text
    shown = [dict(one.fields) for one in Reader(answer.text).forms if one.action == "/settings/away"]
    assert any({name: one.get(name) for name in DAYS} == typed for one in shown) and not away(house)


def test_everybody_notes_their_own_absence_and_nobody_elses(app: Flask, signed_in: Browser, house: Any) -> None:
    counter = sign_in(app, house, role="counter")
    before = digest(house)
    assert counter.post("/settings/away", {"id": signed_in.staff_id, **DAYS}).status_code in (403, 422)
    assert counter.post("/settings/bench", {"id": counter.staff_id, "repairs": "yes"}).status_code == 403
    assert counter.post("/settings/promises", PROMISES).status_code == 403
    assert digest(house) == before
    assert counter.post("/settings/away", {"id": counter.staff_id, **DAYS}).status_code == 303
    assert [one.staff_id for one in away(house)] == [counter.staff_id]
    assert "Nobody is at the bench" not in text(counter)


def test_what_promises_are_made_by_is_shown_as_stored_and_kept_as_typed(signed_in: Browser, house: Any) -> None:
    shown = fields(signed_in.get("/settings").text, "/settings/promises")
    assert {name: shown[name] for name in PROMISES} == {n: str(SHOP_SETTINGS[n].default) for n in PROMISES}
    assert signed_in.post("/settings/promises", PROMISES).status_code == 303
    with house.read() as unit:
        shop = house.ctx.shop(unit)
    assert (shop.promise_level, shop.promise_tick, shop.promise_warn, shop.promise_rule) == (80, 15, 40, "tell")
    assert shop.proving_minutes == 5
    page = signed_in.get("/settings").text
    assert all(f'value="{tick}"' in page for tick in PROMISE_TICKS)


@pytest.mark.parametrize(
    "wrong",
    [{"promise_level": "100"}, {"promise_level": "49"}, {"promise_tick": "7"}, {"promise_warn": "-1"},
     {"promise_rule": "always"}, {"proving_minutes": "soon"}],
)  # fmt: skip
def test_a_promise_setting_that_cannot_be_meant_is_said_beside_its_field(
    signed_in: Browser, house: Any, wrong: dict[str, str]
) -> None:
    before = digest(house)
    answer = signed_in.post("/settings/promises", {**PROMISES, **wrong})
    assert answer.status_code == 422 and f'href="#promises-{next(iter(wrong))}"' in answer.text
    assert digest(house) == before
