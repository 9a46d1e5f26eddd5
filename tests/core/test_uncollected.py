"""Days of a law on uncollected devices, against python-dateutil and a hand-worked table; what blocks closing one.

The counting rule (the first day is not counted, the last one counts whole): Regulation (EEC, Euratom) 1182/71 art. 3
and BGB 187(1), 188(1), both from memory.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import DAILY, rrule

from notify.core.errors import Invalid, NotAllowed
from notify.core.uncollected import (
    Check,
    Facts,
    Rule,
    Stage,
    Step,
    check_may_leave,
    check_rule,
    check_step,
    checklist,
    free_after,
    last_day,
    review_on,
    standing,
)
from notify.core.uncollected_rules import EXAMPLES

TODAY = date(2026, 11, 27)
RULE = Rule("quay", "Quay law", 14, 28, "in writing", "Quay Act s. 1", date(2026, 11, 1), verified=True, active=True)
# day of the event, days, last day of the period, first day after it: counted on a paper calendar.
BY_HAND = [
    (date(2026, 11, 27), 1, date(2026, 11, 28), date(2026, 11, 29)),
    (date(2026, 11, 27), 14, date(2026, 12, 11), date(2026, 12, 12)),
    (date(2026, 12, 20), 14, date(2027, 1, 3), date(2027, 1, 4)),
    (date(2027, 2, 14), 14, date(2027, 2, 28), date(2027, 3, 1)),
    (date(2028, 2, 15), 14, date(2028, 2, 29), date(2028, 3, 1)),  # a leap day is a day
    (date(2028, 2, 28), 1, date(2028, 2, 29), date(2028, 3, 1)),
    (date(2027, 3, 14), 28, date(2027, 4, 11), date(2027, 4, 12)),  # over the clock change of 28 March
    (date(2026, 10, 20), 28, date(2026, 11, 17), date(2026, 11, 18)),  # and of 25 October
]


@pytest.mark.parametrize(("day", "days", "last", "free"), BY_HAND)
def test_whole_days_are_counted_without_the_first_one_as_on_a_paper_calendar(
    day: date, days: int, last: date, free: date
) -> None:
    assert (last_day(day, days), free_after(day, days)) == (last, free)


def test_every_period_ends_where_dateutil_ends_it() -> None:
    cells = wrong = 0
    for start, days in itertools.product(rrule(DAILY, count=1500, dtstart=date(2026, 1, 1)), (1, 14, 28, 31, 92, 184)):
        day = start.date()
        cells += 1
        wrong += free_after(day, days) != (start + relativedelta(days=+days)).date() + relativedelta(days=+1)
    print(f"FIGURE uncollected_days cells={cells} wrong={wrong}")
    assert wrong == 0 and free_after(TODAY, 0) == TODAY


def test_a_month_written_in_days_is_never_shorter_than_the_month_of_the_law() -> None:
    short = sum(
        day.date() + timedelta(days=days) < (day + relativedelta(months=+months)).date()
        for day in rrule(DAILY, count=1500, dtstart=date(2026, 1, 1))
        for months, days in ((1, 31), (3, 92), (6, 184), (12, 366))
    )
    assert short == 0
    # and a day less would be
    assert date(2027, 6, 1) + timedelta(days=91) < date(2027, 6, 1) + relativedelta(months=+3)


def test_a_device_goes_through_the_stages_on_the_days_worked_out_by_hand() -> None:
    told, given = date(2026, 11, 3), date(2026, 11, 20)
    facts = Facts(date(2026, 11, 2), told)
    with_notice = Facts(date(2026, 11, 2), told, ((Step.NOTICE_GIVEN, given),))
    found = [
        standing(RULE, facts, today=date(2026, 11, 17)),
        standing(RULE, facts, today=date(2026, 11, 18)),  # 3 + 14 is the 17th, and that day counts whole
        standing(RULE, with_notice, today=date(2026, 12, 18)),  # 20 November + 28 days
        standing(RULE, with_notice, today=date(2026, 12, 19)),
    ]
    assert [one.stage for one in found] == [Stage.WAITS, Stage.NOTICE_DUE, Stage.NOTICE_GIVEN, Stage.MAY_DECIDE]
    assert found[0].notice_from == date(2026, 11, 18) and found[3].decide_from == date(2026, 12, 19)


def test_no_period_begins_before_word_of_it_really_left_nor_without_a_rule() -> None:
    steps = ((Step.NOTICE_GIVEN, TODAY),)
    assert standing(RULE, Facts(date(2025, 1, 1), None, steps), today=TODAY).stage is Stage.NOT_TOLD
    assert standing(None, Facts(date(2025, 1, 1), date(2025, 1, 2), steps), today=TODAY).stage is Stage.NO_RULE
    assert standing(None, Facts(date(2025, 1, 1), None), today=TODAY).notice_from is None


def test_a_period_begins_with_the_later_of_ready_and_told() -> None:
    for ready, told in ((date(2026, 11, 3), date(2026, 10, 1)), (date(2026, 10, 1), date(2026, 11, 3))):
        assert standing(RULE, Facts(ready, told), today=TODAY).notice_from == date(2026, 11, 18)  # as above


def test_a_notice_before_its_day_does_not_count_and_the_newest_one_noted_does() -> None:
    told, early, late = date(2026, 11, 3), date(2026, 11, 17), date(2026, 11, 20)
    first = ((Step.NOTICE_GIVEN, early),)
    assert standing(RULE, Facts(told, told, first), today=date(2027, 3, 1)).stage is Stage.NOTICE_EARLY
    both = (*first, (Step.NOTICE_GIVEN, late))
    assert standing(RULE, Facts(told, told, both), today=date(2026, 12, 19)).stage is Stage.MAY_DECIDE
    corrected = (*both, (Step.NOTICE_GIVEN, early))
    assert standing(RULE, Facts(told, told, corrected), today=date(2026, 12, 19)).stage is Stage.NOTICE_EARLY


def test_an_answer_to_the_notice_stops_the_counting_and_one_before_it_does_not() -> None:
    told, given = date(2026, 11, 3), date(2026, 11, 20)
    for answered, stage in ((given, Stage.ANSWERED), (date(2026, 11, 19), Stage.MAY_DECIDE)):
        steps = ((Step.ANSWERED, answered), (Step.NOTICE_GIVEN, given))
        assert standing(RULE, Facts(told, told, steps), today=date(2027, 3, 1)).stage is stage


ALL_DONE = (Step.NOTICE_GIVEN, Step.NO_DATA, Step.CAUTIONS_READ, Step.MONEY_NOTED)


def may_leave(
    steps: tuple[Step, ...], stage: Stage, *, reason: str = "", sure: bool = False, gave: bool = False
) -> bool:
    try:
        checks = checklist(stage, [(step, TODAY) for step in steps], gave_it_up=gave)
        check_may_leave(checks, own_reason=reason, confirmed=sure)
    except NotAllowed:
        return False
    return True


def test_it_is_closed_only_when_every_line_is_done_in_every_combination() -> None:
    cells = wrong = 0
    for size, stage, reason, sure in itertools.product(range(5), Stage, ("", "moved away"), (False, True)):
        for some in itertools.combinations(ALL_DONE, size):
            day_came = stage is Stage.MAY_DECIDE or (reason != "" and sure)
            cells += 1
            wrong += may_leave(some, stage, reason=reason, sure=sure) != (size == 4 and day_came)
    print(f"FIGURE left_behind_checklist cells={cells} wrong={wrong}")
    assert wrong == 0


def test_wiped_or_holding_nothing_both_do_and_their_own_word_stands_in_for_the_notice_only() -> None:
    rest = (Step.CAUTIONS_READ, Step.MONEY_NOTED)
    assert may_leave((Step.NOTICE_GIVEN, Step.WIPED, *rest), Stage.MAY_DECIDE)
    said = (Step.ANSWERED, Step.WIPED, *rest)
    assert may_leave(said, Stage.ANSWERED, gave=True, reason="they said keep it", sure=True)
    assert not may_leave(said, Stage.ANSWERED, gave=False, reason="they said keep it", sure=True)
    assert not may_leave(said, Stage.ANSWERED, gave=True)
    with pytest.raises(NotAllowed, match="wiped or holds no data; nobody noted that the cautions were read"):
        check_may_leave([Check("wiped", False), Check("cautions_read", False)], own_reason="x", confirmed=True)


def test_every_rule_that_comes_with_the_program_is_unverified_switched_off_and_names_its_source() -> None:
    assert len({rule.code for rule in EXAMPLES}) == len(EXAMPLES) >= 9
    for rule in EXAMPLES:
        check_rule(rule, today=TODAY)
        assert not rule.verified and not rule.active and rule.checked_on is None and len(rule.source) > 20
    figures = {rule.code: (rule.notice_after_days, rule.wait_days) for rule in EXAMPLES}
    # Torts (Interference with Goods) Act 1977 Sch. 1: 3 months; Uncollected Goods Act 1995 (NSW): 14 and 28 days;
    # R.S.O. 1990 c. R.25: 60 days; Repairers Lien Act (BC) s. 2: 90 days; as the acts were read in November 2026.
    assert figures["england_wales_ni"] == (0, 92)
    assert (figures["new_south_wales_low"], figures["new_south_wales"]) == ((0, 14), (0, 28))
    assert (figures["ontario"][0], figures["british_columbia"][0]) == (60, 90)


@pytest.mark.parametrize(
    ("changes", "error", "field"),
    [
        ({"verified": False}, NotAllowed, "verified"),
        ({"checked_on": None}, Invalid, "checked_on"),
        ({"checked_on": TODAY + timedelta(days=1)}, Invalid, "checked_on"),
        ({"wait_days": -1}, Invalid, "wait_days"),
        ({"notice_after_days": 4000}, Invalid, "notice_after_days"),
        ({"source": ""}, Invalid, "source"),
        ({"form": ""}, Invalid, "form"),
        ({"name": ""}, Invalid, "name"),
    ],
)
def test_a_rule_that_cannot_be_meant_or_that_nobody_verified_is_refused(
    changes: dict[str, object], error: type[Exception], field: str
) -> None:
    check_rule(RULE, today=TODAY)
    with pytest.raises(error) as caught:
        check_rule(replace(RULE, **changes), today=TODAY)  # type: ignore[arg-type]
    assert caught.value.field == field  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("step", "how", "on", "field"),
    [
        (Step.NOTICE_GIVEN, "", TODAY, "how"),
        (Step.NOTICE_GIVEN, "by_owl", TODAY, "how"),
        (Step.WIPED, "by_hand", TODAY, "how"),
        (Step.WIPED, "", TODAY + timedelta(days=1), "on"),
        (Step.WIPED, "", date(2026, 10, 31), "on"),
    ],
)
def test_a_step_on_a_day_or_in_a_way_that_cannot_be_is_refused(step: Step, how: str, on: date, field: str) -> None:
    with pytest.raises(Invalid) as caught:
        check_step(step, how, on, ready_on=date(2026, 11, 1), today=TODAY)
    assert caught.value.field == field


def test_somebody_is_asked_to_look_again_every_so_many_days_and_never_on_a_day_gone_by() -> None:
    since = date(2024, 2, 29)
    assert review_on(since, days=365, today=since) == date(2025, 2, 28)
    assert review_on(since, days=365, today=date(2025, 2, 27)) == date(2025, 2, 28)
    assert review_on(since, days=365, today=date(2025, 2, 28)) == date(2026, 2, 28)
    assert review_on(since, days=0, today=TODAY) is None
