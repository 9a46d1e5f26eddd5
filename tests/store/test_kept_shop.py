"""A shop's settings and hours are kept in memory, and yet every change counts at once, everywhere, or never."""

from __future__ import annotations

from datetime import date, time, timedelta
from typing import Any

import pytest

from notify.core.errors import NotFound
from notify.core.hours import Hours
from notify.store import shops
from notify.store.database import Database


def name_and_days(db: Database, shop_id: str, today: date) -> tuple[str, int, int]:
    """What a reader sees: the name, the number of rows of hours, and of closed days."""
    with db.read(shop_id) as unit:
        shop = shops.get_shop(unit, today=today)
        counter = shops.get_counter(unit, shop)
        return shop.name, len(counter.hours), len(counter.closed)


@pytest.fixture
def other(house: Any) -> Any:
    """Another process's view of the same database."""
    url = house.services.settings.database.url
    made = Database(url, vault=house.ctx.db.vault, new_id=house.ctx.new_id)
    yield made
    made.close()


def test_a_change_by_one_process_counts_at_once_in_another(house: Any, other: Database) -> None:
    today = house.clock().date()
    assert name_and_days(house.ctx.db, house.shop_id, today) == ("Tramstop Bench", 6, 0)
    with other.write(house.shop_id) as unit:
        shops.put_settings(unit, {"name": "Harbour Bench"}, valid_from=today)
        sunday = Hours(weekday=6, opens=time(10), closes=time(12), capacity=1, valid_from=today, valid_until=None)
        row = shops.add_hours(unit, sunday)
        day = shops.add_special_day(unit, today, opens=None, closes=None, capacity=0, reason="stock")
    assert name_and_days(house.ctx.db, house.shop_id, today) == ("Harbour Bench", 7, 1)
    with other.write(house.shop_id) as unit:
        shops.drop_hours(unit, row)
        shops.drop_special_day(unit, day)
    assert name_and_days(house.ctx.db, house.shop_id, today) == ("Harbour Bench", 6, 0)


def test_a_change_that_was_rolled_back_never_counts(house: Any) -> None:
    today, db = house.clock().date(), house.ctx.db
    for number in range(2):
        with pytest.raises(RuntimeError), db.write(house.shop_id) as unit:
            shops.put_settings(unit, {"name": f"Nobody's Bench {number}"}, valid_from=today)
            assert shops.get_shop(unit, today=today).name == f"Nobody's Bench {number}"
            raise RuntimeError
        assert name_and_days(db, house.shop_id, today)[0] == "Tramstop Bench"


def test_dated_settings_count_from_their_day_on_whoever_asked_before(house: Any) -> None:
    today, db = house.clock().date(), house.ctx.db
    with db.write(house.shop_id) as unit:
        later = {"name": "Harbour Bench", "slot_minutes": 30}
        shops.put_settings(unit, later, valid_from=today + timedelta(days=1))
    for _ in range(2):
        with db.read(house.shop_id) as unit:
            seen = [shops.get_shop(unit, today=today + timedelta(days=ahead)) for ahead in (0, 1)]
            assert [one.name for one in seen] == ["Tramstop Bench", "Harbour Bench"]
            assert [shops.get_counter(unit, one).slot_minutes for one in seen] == [15, 30]


def test_an_unknown_shop_is_refused_though_another_is_kept(house: Any) -> None:
    today = house.clock().date()
    name_and_days(house.ctx.db, house.shop_id, today)
    with house.ctx.db.read("00000000-0000-0000-0000-000000000000") as unit, pytest.raises(NotFound):
        shops.get_shop(unit, today=today)
