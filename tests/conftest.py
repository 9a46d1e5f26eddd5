"""Fixtures for all tests; each lives in its own file under parts/."""

from __future__ import annotations

import pytest

from tests.parts.clock import FakeClock

pytest_plugins = (
    "tests.parts.quick_disk",
    "tests.parts.figures",
    "tests.parts.zone_data",
    "tests.parts.loopback_only",
    "tests.parts.certificates",
    "tests.parts.databases",
    "tests.parts.mariadb",
    "tests.parts.foreign",
    "tests.parts.house",
    "tests.parts.full_shop",
    "tests.parts.live",
    "tests.parts.smtp_server",
    "tests.parts.imap_server",
    "tests.parts.mta",
    "tests.parts.browser",
)


# Of the tests of pages these run on PostgreSQL each time: races, statements, and what no shop may see of another. The
# others call flows that do, and are seen there before a release.
ON_BOTH = frozenset(
    f"test_{name}.py"
    for name in ("claim_kept", "claim_race", "lost_page", "pickup_attacks", "looking_changes_nothing", "shops_apart",
                 "routes", "database_away", "pass_pages", "bell_page", "forecast_pages")
)  # fmt: skip

# Long stories about rules in our own code: on PostgreSQL they say nothing that shorter ones do not.
LONG_STORIES = frozenset(
    {
        "test_of_a_thousand_tickets_each_message_reaches_its_own_person_about_its_own_device",
        "test_many_nights_of_changes_wake_nobody_and_each_morning_tells_only_how_things_stand",
        "test_wandering_tickets_on_bad_lines_never_say_what_is_not_so_and_end_with_a_reason",
        "test_whatever_happens_no_object_is_older_than_one_before_it",
        "test_whatever_any_flow_writes_no_kept_page_is_stale_and_its_stamp_has_risen",
        "test_when_half_a_shop_is_in_danger_at_once_the_nearest_promises_ring_and_the_day_sheet_shows_all",
        "test_an_absurd_shop_is_told_so_and_never_stops_the_others",
    }
)

# Edges of rules that are the same code on either database; what only a database can do wrong is in the other files.
EDGES = frozenset({"test_keeping_closely.py", "test_consents_closely.py", "test_keeping.py", "test_requests.py"})


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Pages and long stories on PostgreSQL are deep. Files that start servers and browsers begin first, so that no
    worker waits at the end for a long one."""
    rank = {"real": 2, "long": 1}
    of_file: dict[str, int] = {}
    for item in items:
        if "[postgresql" in item.name and _is_seen_elsewhere(item):
            item.add_marker("deep")
        found = max((rank.get(mark.name, 0) for mark in item.iter_markers()), default=0)
        of_file[item.path.as_posix()] = max(found, of_file.get(item.path.as_posix(), 0))
    items.sort(key=lambda item: -of_file[item.path.as_posix()])


def _is_seen_elsewhere(item: pytest.Item) -> bool:
    named = item.name.partition("[")[0] in LONG_STORIES or item.path.name in EDGES
    return named or _is_page_elsewhere(item)


def _is_page_elsewhere(item: pytest.Item) -> bool:
    return item.path.parent.name == "web" and item.path.name not in ON_BOTH


@pytest.fixture
def clock() -> FakeClock:
    """A settable clock: call it for the aware UTC instant, `.advance(seconds)` to move it."""
    return FakeClock()
