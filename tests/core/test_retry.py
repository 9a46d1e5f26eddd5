"""When a message is tried again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notify.core.errors import Invalid
from notify.core.retry import HAND_OVER, MAIL, PATIENCE, TEXT, Patience, end_of, next_try, patience_for

FIRST = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
JITTER = st.floats(min_value=0, max_value=1)


def tries(patience: Patience, *, jitter: float, expires_at: datetime | None = None) -> list[datetime]:
    """Every try of a message that always fails at once, the first included."""
    at = [FIRST]
    while following := next_try(
        len(at), first_at=FIRST, now=at[-1], jitter=jitter, expires_at=expires_at, patience=patience
    ):
        at.append(following)
        assert len(at) < 1000
    return at


@given(jitter=JITTER)
def test_mail_is_tried_as_rfc_5321_4_5_4_1_asks(jitter: float) -> None:
    at = tries(MAIL, jitter=jitter)
    waits = [late - early for early, late in pairwise(at)]
    assert min(waits[:-1]) >= timedelta(minutes=30)  # "at least 30 minutes"
    assert at[1] - FIRST < timedelta(hours=1)  # two tries in the first hour
    later = [wait for moment, wait in zip(at, waits[:-1], strict=False) if moment - FIRST > timedelta(hours=3)]
    assert all(timedelta(hours=2) <= wait <= timedelta(hours=3) for wait in later)  # "every 2-3 hours"
    assert timedelta(days=4) <= at[-1] - FIRST <= timedelta(days=5)  # "at least 4-5 days"


@given(jitter=JITTER, minutes=st.integers(min_value=1, max_value=600))
def test_tries_rise_end_before_the_expiry_and_come_close_to_it(jitter: float, minutes: int) -> None:
    expires = FIRST + timedelta(minutes=minutes)
    for patience in (MAIL, HAND_OVER, TEXT):
        at = tries(patience, jitter=jitter, expires_at=expires)
        assert at == sorted(set(at)) and at[-1] < expires
        assert at[-1] == max(FIRST, expires - patience.last_call)


def test_nothing_is_tried_at_or_after_the_end() -> None:
    end = FIRST + MAIL.give_up_after
    for now in (end, end + timedelta(hours=1)):
        assert next_try(9, first_at=FIRST, now=now, jitter=0, expires_at=None) is None
    assert next_try(1, first_at=FIRST, now=FIRST, jitter=0, expires_at=FIRST) is None


def test_jitter_only_lengthens_a_wait() -> None:
    plain, most = (next_try(1, first_at=FIRST, now=FIRST, jitter=j) for j in (0, 1))
    assert plain == FIRST + timedelta(minutes=30)
    assert most == FIRST + timedelta(minutes=37, seconds=30)


def test_our_own_mail_server_down_for_an_hour_costs_at_most_a_quarter_of_an_hour_more() -> None:
    back = FIRST + timedelta(hours=1)
    first_after = next(at for at in tries(HAND_OVER, jitter=1) if at >= back)
    assert first_after - back < timedelta(minutes=19)


def test_a_clock_set_back_still_moves_forward_from_now() -> None:
    now = FIRST - timedelta(hours=3)
    following = next_try(2, first_at=FIRST, now=now, jitter=0.5)
    assert following is not None and following > now


@pytest.mark.parametrize(("attempt", "jitter"), [(0, 0.0), (-1, 0.0), (1, -0.1), (1, 1.1), (1, float("nan"))])
def test_an_attempt_or_jitter_out_of_range_is_refused(attempt: int, jitter: float) -> None:
    with pytest.raises(Invalid):
        next_try(attempt, first_at=FIRST, now=FIRST, jitter=jitter)


def test_waits_that_shrink_or_do_not_wait_are_refused() -> None:
    with pytest.raises(Invalid, match="shrink"):
        Patience(waits=(timedelta(hours=3), timedelta(hours=1)))
    with pytest.raises(Invalid, match="not usable"):
        Patience(waits=(timedelta(0),))


@given(
    patience=st.sampled_from((MAIL, HAND_OVER, TEXT)),
    attempt=st.integers(min_value=1, max_value=200),
    late=st.integers(min_value=-3600, max_value=6 * 86400),
    life=st.integers(min_value=1, max_value=7 * 86400),
    jitter=JITTER,
)
def test_never_before_the_wait_and_never_past_the_end_whatever_the_clock_does(
    patience: Patience, attempt: int, late: int, life: int, jitter: float
) -> None:
    """Against the sentence of RFC 5321 4.5.4.1: a wait between tries, an end; only the last try may come sooner."""
    now, expires = FIRST + timedelta(seconds=late), FIRST + timedelta(seconds=life)
    due = next_try(attempt, first_at=FIRST, now=now, jitter=jitter, expires_at=expires, patience=patience)
    end = min(expires, FIRST + patience.give_up_after)
    least = ([*patience.waits, patience.then_every])[min(attempt, len(patience.waits) + 1) - 1]
    if due is None:
        assert now >= end - patience.last_call
    else:
        assert now < due < end
        assert due - now >= least or due == end - patience.last_call


def test_each_way_has_its_patience_and_a_text_gives_way_to_the_next_within_the_hour() -> None:
    """The half hour is for the far end (RFC 5321 4.5.4.1); our own line and a text gateway are asked in minutes."""
    assert {code: patience_for("email", code) for code in ("rcpt-451", "data-421", "dot-452")} == dict.fromkeys(
        ("rcpt-451", "data-421", "dot-452"), MAIL
    )
    assert {patience_for("email", code) for code in ("connect-refused", "mail-421", "sender", "timeout")} == {HAND_OVER}
    assert {patience_for("sms", code) for code in ("rcpt-451", "connect-refused", "http-503", "")} == {TEXT}
    assert {way for way, _, _ in PATIENCE} == {"email", "sms"}
    week = FIRST + timedelta(days=7)
    ends = {p: end_of(p, first_at=FIRST, expires_at=week, may_call=True) - FIRST for p in (MAIL, HAND_OVER, TEXT)}
    assert ends == {MAIL: timedelta(hours=4), HAND_OVER: timedelta(hours=4), TEXT: timedelta(hours=1)}
    assert end_of(TEXT, first_at=FIRST, expires_at=week, may_call=False) == week
    at = tries(TEXT, jitter=0, expires_at=end_of(TEXT, first_at=FIRST, expires_at=week, may_call=True))
    assert len(at) >= 6 and at[-1] - FIRST < timedelta(hours=1)
    soon = FIRST + timedelta(minutes=20)
    assert end_of(TEXT, first_at=FIRST, expires_at=soon, may_call=True) == soon
