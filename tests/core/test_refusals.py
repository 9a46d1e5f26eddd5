"""Three wrong secrets within a day ask for a check; a handover begins the count anew. The figures are our choice."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from notify.core.events import Event
from notify.core.refusals import WITHIN, asks_for_check, wrong_secrets

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


def story(*steps: tuple[str, float]) -> list[Event]:
    """(kind, hours ago) in the order of the story."""
    return [Event(str(n), kind, NOW - timedelta(hours=ago), "v") for n, (kind, ago) in enumerate(steps)]


@pytest.mark.parametrize(
    ("steps", "count"),
    [
        ([], 0),
        ([("handover_refused", 1)], 1),
        ([("handover_refused", 23.9), ("handover_refused", 2), ("handover_refused", 0)], 3),
        ([("handover_refused", 24), ("handover_refused", 2), ("handover_refused", 0)], 2),
        ([("handover_refused", 3), ("handover_refused", 2), ("handover_done", 1), ("handover_refused", 0)], 1),
        ([("handover_refused", 2), ("handed_back", 1), ("handover_refused", 0)], 2),
        ([("handover_refused", -1)], 0),  # noted under a clock that was ahead: it counts once its time has come
    ],
)
def test_wrong_secrets_of_a_day_are_counted_since_the_last_handover(steps: list[tuple[str, float]], count: int) -> None:
    assert wrong_secrets(story(*steps), NOW) == count


def test_the_third_wrong_secret_asks_for_a_check_and_the_second_does_not() -> None:
    assert [asks_for_check(n) for n in range(5)] == [False, False, False, True, True]
    assert timedelta(hours=24) == WITHIN
