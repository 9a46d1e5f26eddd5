"""Who repairs and who is away, by command: said in words and as data, refused with the right exit code."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from notify.wiring import system_clock
from tests.cli.conftest import Shop

pytestmark = pytest.mark.long


def day(ahead: int) -> str:
    return (system_clock() + timedelta(days=ahead)).date().isoformat()


def of(shop: Shop, name: str) -> dict[str, Any]:
    return next(one for one in shop.ok("staff", "list", "--json").data if one["name"] == name)


def test_the_bench_is_emptied_and_filled_again_and_the_check_says_so(shop: Shop) -> None:
    assert of(shop, "Owner")["at_bench"]
    said = shop.ok("staff", "bench", "Owner", "off").out
    assert "Nobody is at the bench now" in said and not of(shop, "Owner")["at_bench"]
    assert "Nobody is at the bench, so no ready time can be named" in shop.ok("check").out
    assert shop.ok("staff", "bench", "Owner", "on", "--json").data == {"name": "Owner", "at_bench": True}
    assert shop("staff", "bench", "Nobody", "on").code == 4 and shop("staff", "bench", "Owner", "maybe").code == 2


def test_an_absence_is_noted_listed_and_ended(shop: Shop) -> None:
    noted = shop.ok("staff", "away", "Owner", day(0), day(20))
    assert "Nobody is at the bench on" in noted.out
    (gap,) = of(shop, "Owner")["away"]
    assert (
        set(gap) == {"id", "staff_id", "starts_at", "ends_at"} and " to " in shop.ok("staff", "list").out
    )  # no reason
    shop.ok("staff", "away", "Owner", day(30), f"{day(30)}T12:00")
    assert shop.ok("staff", "back", "Owner", "--json").data["ended"] == 1
    assert shop("staff", "back", "Owner").code == 5
    assert shop.ok("staff", "back", "Owner", day(30), "--json").data["ended"] == 1
    assert of(shop, "Owner")["away"] == []


@pytest.mark.parametrize(
    ("first", "last"), [("soon", "2099-01-01"), ("2020-01-01", "2020-01-02"), ("9999-01-01", "9999-12-31")]
)
def test_an_absence_that_cannot_be_meant_is_wrong_input(shop: Shop, first: str, last: str) -> None:
    said = shop("staff", "away", "Owner", first, last)
    assert said.code == 2 and "Traceback" not in said.err and len(said.err.splitlines()) == 1


def test_whoever_is_not_the_owner_notes_their_own_absence_only(shop: Shop, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_text("counter by the sea\n")
    shop.ok("staff", "add", "Ada", "counter", "--password-file", str(secret))
    shop.ok("staff", "away", "Ada", day(1), day(2), "--as", "Ada")
    assert shop("staff", "away", "Owner", day(1), day(2), "--as", "Ada").code == 3
    assert shop("staff", "bench", "Ada", "on", "--as", "Ada").code == 3
