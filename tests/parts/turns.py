"""Which tests run on both databases each time, and which take turns: half on SQLite, the others on PostgreSQL.

Every statement of every flow runs on both each time (flows/test_all_or_nothing.py, web/test_looking_changes_nothing.py,
store/test_shops_apart.py go through all of them); the stories around them are about rules in our own code. `make deep`
runs each on both, `make quick` all of them on SQLite.
"""

from __future__ import annotations

from zlib import crc32

import pytest

TAKE_TURNS = frozenset({"flows", "inbox", "dispatch", "schedule", "watch"})

# Races, cut-off work, bytes left behind, counted statements: what a database can do wrong by itself.
ON_BOTH = frozenset(
    f"test_{name}.py"
    for name in ("all_or_nothing", "booking_races", "forget_bytes", "forget_many", "forgotten_files", "delegate_bytes",
                 "forgetting_attacked", "forgotten_letters", "backup_closely", "messages_once", "main_job", "cost",
                 "batches", "source_flood", "held_about", "clock_guard", "slow_jobs", "folder_cut_off", "table",
                 "booking_histories", "message_list")
)  # fmt: skip

# Of the tests of pages these run on both as well, and these take turns; the others are on SQLite.
PAGES_ON_BOTH = frozenset(
    f"test_{name}.py"
    for name in ("claim_kept", "claim_race", "looking_changes_nothing", "shops_apart", "database_away")
)
PAGES_IN_TURN = frozenset(
    f"test_{name}.py" for name in ("lost_page", "pickup_attacks", "routes", "pass_pages", "bell_page", "forecast_pages")
)

# Long stories about rules in our own code: on PostgreSQL they say nothing that shorter ones do not.
LONG_STORIES = frozenset(
    {
        "test_a_thousand_guesses_from_one_place_get_twenty_answers",
        "test_of_a_thousand_tickets_each_message_reaches_its_own_person_about_its_own_device",
        "test_many_nights_of_changes_wake_nobody_and_each_morning_tells_only_how_things_stand",
        "test_wandering_tickets_on_bad_lines_never_say_what_is_not_so_and_end_with_a_reason",
        "test_whatever_happens_no_object_is_older_than_one_before_it",
        "test_whatever_any_flow_writes_no_kept_page_is_stale_and_its_stamp_has_risen",
        "test_when_half_a_shop_is_in_danger_at_once_the_nearest_promises_ring_and_the_day_sheet_shows_all",
        "test_an_absurd_shop_is_told_so_and_never_stops_the_others",
    }
)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What is not on this database's turn is deep; on SQLite it is for `make quick` besides."""
    for item in items:
        name, _, case = item.name.partition("[")
        turn = turn_of(item.path.parent.name, item.path.name, name)
        if case.startswith("postgresql") and turn == "sqlite":
            item.add_marker("deep")
        elif case.startswith("sqlite") and turn == "postgresql":
            item.add_marker("stands_back")


def turn_of(folder: str, file: str, name: str) -> str:
    """The database that a test of this name runs on each time; empty when it is both."""
    if name in LONG_STORIES or (folder == "web" and file not in PAGES_ON_BOTH | PAGES_IN_TURN):
        return "sqlite"
    if file in PAGES_IN_TURN or (folder in TAKE_TURNS and file not in ON_BOTH):
        return ("sqlite", "postgresql")[crc32(name.encode()) % 2]
    return ""
