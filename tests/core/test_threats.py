"""When a promise is in danger: the rule in every state, and what may be told without anybody's word."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import product

from notify.core.ready import LEVELS, Decides, Forecast, Without
from notify.core.threats import ORDER_WITHIN, TOLD, Threat, chance_of, may_tell, threat, told_why
from notify.flows.promises import WHY

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
PROMISED = NOW + timedelta(hours=3)
FORECAST = Forecast(ticket_id="t", made_at=NOW, grid=(PROMISED,) * len(LEVELS), level=0.9, promise_at=PROMISED,
                    quantile_at=PROMISED, chance=0.4, decides=Decides.LINE)  # fmt: skip


def seen(forecast: Forecast, promised: datetime = PROMISED, **more: object) -> Threat | None:
    given = {"now": NOW, "warn": 0.5, "needed_at": None, "overrun": False} | more
    return threat(forecast, promised, **given)  # type: ignore[arg-type]  # the names of the rule


def test_a_promise_is_in_danger_below_the_shops_own_chance_and_only_before_its_time() -> None:
    for chance in (0.0, 0.49, 0.5, 0.51, 1.0):
        assert (seen(replace(FORECAST, chance=chance)) is not None) is (chance < 0.5), chance
    assert seen(FORECAST, NOW) is None and seen(FORECAST, NOW - timedelta(days=1)) is None
    assert seen(FORECAST, warn=0.0) is None and seen(replace(FORECAST, chance=0.98), warn=0.99) is not None


def test_every_reason_for_no_time_is_a_danger_but_the_customers_own_answer_and_our_own_limit() -> None:
    silent = {why for why in Without if seen(replace(FORECAST, without=why, grid=(), chance=0.9)) is None}
    # A part of which nobody knows when it comes, a far end: what was promised may be kept all the same.
    still = {Without.BACK_ORDERED, Without.FAR}
    assert silent == {Without.QUESTION, Without.TOO_MANY} | still
    assert {why for why in Without if chance_of(replace(FORECAST, without=why, chance=0.9))} == still
    assert all(seen(replace(FORECAST, without=why, grid=(), chance=c)) for why in still for c in (None, 0.0, 0.49))


def test_a_part_that_was_just_noted_is_being_ordered() -> None:
    bare = replace(FORECAST, without=Without.NOT_ORDERED, grid=(), chance=None)
    for waited in (timedelta(0), ORDER_WITHIN - timedelta(seconds=1)):
        assert seen(bare, needed_at=NOW - waited) is None
    assert seen(bare, needed_at=NOW - ORDER_WITHIN) is Threat.PART_MISSING


def test_each_danger_has_its_cause_and_a_reason_that_the_customer_may_hear() -> None:
    causes = {(decides, overrun): seen(replace(FORECAST, decides=decides), overrun=overrun)
              for decides, overrun in product(Decides, (False, True))}  # fmt: skip
    assert causes[Decides.PART, True] is Threat.PART_LATE and causes[Decides.HANDS, True] is Threat.WORK
    assert causes[Decides.LINE, False] is Threat.BENCH_BUSY and causes[Decides.WORK, False] is Threat.WORK
    assert causes[Decides.LINE, True] is causes[Decides.WORK, True] is Threat.OTHER_JOB  # it waits behind that one
    assert set(TOLD) == set(Threat) and set(TOLD.values()) <= set(WHY) - {"earlier"}


def test_a_part_found_wanting_after_the_promise_is_one_more_part_and_not_a_late_one() -> None:
    for days, told in ((-1, "part_late"), (0, "part_late"), (1, "part_missing")):
        since = NOW + timedelta(days=days)
        assert told_why(Threat.PART_LATE, promised_on=NOW, needed_at=since) == told
        assert told_why(Threat.OTHER_JOB, promised_on=NOW, needed_at=since) == "other_job"
    assert told_why(Threat.PART_LATE, promised_on=NOW, needed_at=None) == "part_late"


def test_the_shops_rule_only_ever_names_a_later_time_and_once_a_day() -> None:
    for later, today in product((-1, 0, 1), (False, True)):
        told = may_tell(FORECAST, PROMISED - timedelta(minutes=30 * later), told_today=today)
        assert told is (later == 1 and not today)
    assert not may_tell(replace(FORECAST, promise_at=None), PROMISED, told_today=False)
