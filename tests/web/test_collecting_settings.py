"""What an owner sets about collecting on the settings page, and what the page of data protection says of it then."""

from __future__ import annotations

from typing import Any

import pytest

from notify.core.shop import SHOP_SETTINGS
from tests.web.staff_pages import Reader

pytestmark = pytest.mark.long

TYPED = {
    "reminder_hours": "4", "missed_notes": "3", "collection_days": "2, 9", "review_days": "200", "pass_days": "5",
    "hold_hours": "48", "code_above": "15000",
}  # fmt: skip


def values(page: str) -> dict[str, str]:
    """Name of each field of that form -> what stands in it."""
    form = next(one for one in Reader(page).forms if one.action == "/settings/collecting")
    return {name: value for name, value in form.fields if name in TYPED}


def test_the_page_shows_what_is_stored_and_keeps_what_is_typed(signed_in: Any, house: Any) -> None:
    stored = {name: SHOP_SETTINGS[name].default for name in TYPED}
    as_typed = {n: ", ".join(map(str, v)) if isinstance(v, list) else str(v) for n, v in stored.items()}
    assert values(signed_in.get("/settings").text) == as_typed
    assert signed_in.post("/settings/collecting", TYPED).status_code == 303
    assert values(signed_in.get("/settings").text) == TYPED
    with house.read() as unit:
        shop = house.ctx.shop(unit)
    assert (shop.collection_days, shop.hold_hours, shop.code_above) == ((2, 9), 48, 15000)


@pytest.mark.parametrize("name", TYPED)
def test_what_cannot_be_meant_is_said_beside_its_field_and_changes_nothing(
    signed_in: Any, house: Any, name: str
) -> None:
    with house.read() as unit:
        before = house.ctx.shop(unit)
    wrong = signed_in.post("/settings/collecting", {**TYPED, name: "soon"})
    assert wrong.status_code == 422 and f'href="#collecting-{name}"' in wrong.text
    assert values(wrong.text) == {**TYPED, name: "soon"}
    with house.read() as unit:
        assert house.ctx.shop(unit) == before


@pytest.mark.parametrize(
    ("language", "name", "review"),
    [("en", "7 days after their pass has ended", "once in 200 days"),
     ("de", "nach dem Ende des Abholpasses noch 7 Tage", "alle 200 Tage"),
     ("it", "ancora 7 giorni dopo la fine", "ogni 200 giorni")],
)  # fmt: skip
def test_customers_read_how_long_the_name_of_whoever_collects_and_uncollected_cases_are_kept(
    signed_in: Any, language: str, name: str, review: str
) -> None:
    signed_in.post("/settings/collecting", TYPED)
    said = Reader(signed_in.get(f"/privacy?language={language}").text).text
    assert name in said and review in said and "30 " in said
    signed_in.post("/settings/collecting", {"review_days": "0"})
    bare = Reader(signed_in.get(f"/privacy?language={language}").text).text
    assert name in bare and "200" not in bare and " 0 " not in bare
