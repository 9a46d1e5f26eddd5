"""What a calendar answer may do (RFC 5546 1.4, 2.1.4, 2.1.5, 3.2, 3.6; RFC 6047 2.2.1): step by step, in any order."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import permutations, product
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core.itip import CLOCK_SLACK, Answer, Bearer, Decision, Partstat, address_of, judge
from tests.parts.answers import ATTENDEE, ORGANIZER, UID, after, standing

NOON = datetime(2026, 11, 1, 12, 0, tzinfo=UTC)
ARRIVED = NOON + timedelta(hours=2)
SURE = Bearer(ATTENDEE, by_token=True, proved=True, arrived=ARRIVED)
D, P = Decision, Partstat


def answer(**changes: Any) -> Answer:
    """A yes to the first revision, said at noon."""
    usual: dict[str, Any] = {
        "method": "REPLY", "uid": UID, "attendee": ATTENDEE, "organizer": ORGANIZER, "partstat": P.ACCEPTED,
        "stamp": NOON,
    }  # fmt: skip
    return Answer(**(usual | changes))


# RFC 5546 1.4, the whole table for VEVENT, written down by hand: an organizer takes these three from an attendee.
METHODS = {
    "PUBLISH": D.REJECT_NOT_PERMITTED, "REQUEST": D.REJECT_NOT_PERMITTED, "REPLY": D.APPLY,
    "ADD": D.REJECT_NOT_PERMITTED, "CANCEL": D.REJECT_NOT_PERMITTED, "REFRESH": D.RESEND_CURRENT_REQUEST,
    "COUNTER": D.RECORD_PROPOSAL, "DECLINECOUNTER": D.REJECT_NOT_PERMITTED, "": D.REJECT_NOT_PERMITTED,
    "REPLYX": D.REJECT_NOT_PERMITTED,
}  # fmt: skip


@pytest.mark.parametrize(("method", "wanted"), METHODS.items())
def test_an_organizer_takes_from_an_attendee_only_what_the_standard_gives_them(method: str, wanted: Decision) -> None:
    verdict = judge(standing(), answer(method=method), SURE)
    assert verdict.decision == wanted
    print("FIGURE itip_methods methods=10 permitted=3")


# What, the change to a good answer, to what is kept, to how it came; and what is decided. Each row differs from a good
# answer in one thing, so each step is seen alone.
ROWS: list[tuple[str, dict[str, Any], dict[str, Any], dict[str, Any], Decision, str]] = [
    ("a yes that is proved", {}, {}, {}, D.APPLY, "proved"),
    ("a perhaps that is proved", {"partstat": P.TENTATIVE}, {}, {}, D.APPLY, "proved"),
    ("a no that is proved", {"partstat": P.DECLINED}, {}, {}, D.APPLY, "proved"),
    ("another time that is proved", {"method": "COUNTER"}, {}, {}, D.RECORD_PROPOSAL, "proved"),
    ("a yes without proof", {}, {}, {"proved": False}, D.APPLY_UNVERIFIED, "not_proved"),
    ("a perhaps without proof", {"partstat": P.TENTATIVE}, {}, {"proved": False}, D.APPLY_UNVERIFIED, "not_proved"),
    ("a no without proof", {"partstat": P.DECLINED}, {}, {"proved": False}, D.FLAG_UNVERIFIED, "not_proved"),
    ("another time without proof", {"method": "COUNTER"}, {}, {"proved": False}, D.FLAG_UNVERIFIED, "not_proved"),
    ("the UID alone is as good as the token", {"partstat": P.DECLINED}, {}, {"by_token": False}, D.APPLY, "proved"),
    ("a yes from another's account", {}, {}, {"sender": "x@cust.example"}, D.FLAG_UNVERIFIED, "by_another"),
    ("a no from another's account", {"partstat": P.DECLINED}, {}, {"sender": "x@y.example"}, D.FLAG_UNVERIFIED,
     "by_another"),
    ("another time from another's account", {"method": "COUNTER"}, {}, {"sender": "x@y.example"}, D.FLAG_UNVERIFIED,
     "by_another"),
    ("a letter without a sender", {}, {}, {"sender": ""}, D.FLAG_UNVERIFIED, "by_another"),
    ("capitals in From", {}, {}, {"sender": "Pat@Cust.Example"}, D.APPLY, "proved"),
    ("capitals in what is stored", {}, {"attendee": "PAT@cust.example"}, {}, D.APPLY, "proved"),
    ("capitals in the organizer", {"organizer": ORGANIZER.upper()}, {}, {}, D.APPLY, "proved"),
    ("another pickup", {"uid": UID[:-1]}, {}, {}, D.REJECT_UNKNOWN_UID, "unknown_uid"),
    ("a UID in capitals is another", {"uid": UID.upper()}, {}, {}, D.REJECT_UNKNOWN_UID, "unknown_uid"),
    ("no organizer, as Exchange writes it", {"organizer": ""}, {}, {}, D.APPLY, "proved"),
    ("another organizer", {"organizer": "x@shop.example"}, {}, {}, D.FLAG_UNVERIFIED, "foreign_organizer"),
    ("an organizer that is no mailbox", {"organizer": "?"}, {}, {}, D.FLAG_UNVERIFIED, "foreign_organizer"),
    ("somebody who was not invited", {"attendee": "x@y.example"}, {}, {"sender": "x@y.example"}, D.FLAG_PARTY_CRASHER,
     "other_attendee"),
    ("nobody is invited any more", {"attendee": ""}, {"attendee": ""}, {"sender": ""}, D.FLAG_PARTY_CRASHER,
     "other_attendee"),
    ("nothing was scheduled there", {"request_status": "3.7"}, {}, {}, D.ROUTE_TO_HUMAN, "failed_there"),
    ("their service failed", {"request_status": "5.1"}, {}, {}, D.ROUTE_TO_HUMAN, "failed_there"),
    ("a status nobody can read", {"request_status": "?"}, {}, {}, D.ROUTE_TO_HUMAN, "failed_there"),
    ("a status of success with a fallback", {"request_status": "2.8"}, {}, {}, D.APPLY, "proved"),
    ("a yes to a cancelled pickup", {}, {"is_live": False}, {}, D.FLAG_STALE, "not_live"),
    ("another time for a cancelled pickup", {"method": "COUNTER"}, {"is_live": False}, {}, D.FLAG_STALE, "not_live"),
    ("asking for a cancelled pickup", {"method": "REFRESH"}, {"is_live": False}, {}, D.FLAG_STALE, "not_live"),
    ("asking anew needs neither revision nor time", {"method": "REFRESH", "stamp": None}, {"sequence": 4}, {},
     D.RESEND_CURRENT_REQUEST, ""),
    ("asking anew for somebody else", {"method": "REFRESH", "attendee": "x@y.example"}, {}, {}, D.FLAG_PARTY_CRASHER,
     "other_attendee"),
    ("the time before", {}, {"sequence": 1}, {}, D.FLAG_STALE, "old_revision"),
    ("a proposal about the time before", {"method": "COUNTER"}, {"sequence": 1}, {}, D.FLAG_STALE, "old_revision"),
    ("the time now, once moved", {"sequence": 1}, {"sequence": 1}, {}, D.APPLY, "proved"),
    ("a revision that we never sent", {"sequence": 1}, {}, {}, D.ROUTE_TO_HUMAN, "unsent_revision"),
    ("no time of its own", {"stamp": None}, {}, {}, D.REJECT_MALFORMED, "no_stamp"),
    ("older than the last that counted", {}, {"reply_sequence": 0, "reply_stamp": NOON + timedelta(seconds=1)}, {},
     D.IGNORE_STALE, "older"),
    ("newer than the last that counted", {}, {"reply_sequence": 0, "reply_stamp": NOON - timedelta(seconds=1)}, {},
     D.APPLY, "proved"),
    ("older, but of a newer revision", {"sequence": 1},
     {"sequence": 1, "reply_sequence": 0, "reply_stamp": NOON + timedelta(hours=1)}, {}, D.APPLY, "proved"),
    ("the same again", {}, {"reply_sequence": 0, "reply_stamp": NOON, "partstat": P.ACCEPTED}, {}, D.NO_STATE_CHANGE,
     "repeated"),
    ("a no in the second of a yes", {"partstat": P.DECLINED},
     {"reply_sequence": 0, "reply_stamp": NOON, "partstat": P.ACCEPTED}, {}, D.IGNORE_STALE, "older"),
    ("a yes in the second of a no", {}, {"reply_sequence": 0, "reply_stamp": NOON, "partstat": P.DECLINED}, {},
     D.APPLY, "proved"),
    ("a proposal older than their last word", {"method": "COUNTER"},
     {"reply_sequence": 0, "reply_stamp": NOON + timedelta(seconds=1)}, {}, D.IGNORE_STALE, "older"),
    ("a proposal of the second of their last word", {"method": "COUNTER"}, {"reply_sequence": 0, "reply_stamp": NOON},
     {}, D.RECORD_PROPOSAL, "proved"),
    ("a proposal in the second of the same word", {"method": "COUNTER"},
     {"reply_sequence": 0, "reply_stamp": NOON, "partstat": P.ACCEPTED}, {}, D.RECORD_PROPOSAL, "proved"),
    ("a no in the second of a perhaps", {"partstat": P.DECLINED},
     {"reply_sequence": 0, "reply_stamp": NOON, "partstat": P.TENTATIVE}, {}, D.IGNORE_STALE, "older"),
    ("a perhaps in the second of a no", {"partstat": P.TENTATIVE},
     {"reply_sequence": 0, "reply_stamp": NOON, "partstat": P.DECLINED}, {}, D.APPLY, "proved"),
    ("a word that says nothing", {"partstat": P.NEEDS_ACTION}, {}, {}, D.NO_STATE_CHANGE, "says_nothing"),
    ("a proposal says enough by its time", {"method": "COUNTER", "partstat": P.NEEDS_ACTION}, {}, {},
     D.RECORD_PROPOSAL, "proved"),
    ("another is to come", {"partstat": P.DELEGATED}, {}, {}, D.FLAG_DELEGATED, "delegates"),
    ("another is to come, it says beside a yes", {"delegated_to": "x@y.example"}, {}, {}, D.FLAG_DELEGATED,
     "delegates"),
    ("a copy of what went to the delegate", {"method": "REQUEST", "delegated_to": "x@y.example"}, {}, {},
     D.ROUTE_TO_HUMAN, "delegates"),
    ("a clock that is a little ahead", {"stamp": NOON + timedelta(hours=20)}, {}, {}, D.APPLY, "proved"),
    ("a day just not too far ahead", {"stamp": ARRIVED + CLOCK_SLACK}, {}, {}, D.APPLY, "proved"),
    ("a second more than a day ahead", {"stamp": ARRIVED + timedelta(days=1, seconds=1)}, {}, {},
     D.FLAG_UNVERIFIED, "dated_ahead"),
    ("a clock that is years ahead", {"stamp": NOON.replace(year=2036)}, {}, {}, D.FLAG_UNVERIFIED, "dated_ahead"),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0].replace(" ", "_"))
def test_each_step_decides_alone_what_the_standards_and_the_ladder_say(row: tuple[Any, ...]) -> None:
    _, said, kept, came, wanted, why = row
    verdict = judge(standing(**kept), answer(**said), replace(SURE, **came))
    assert (verdict.decision, verdict.why) == (wanted, why)


def test_every_decision_of_the_judge_is_seen_in_some_row() -> None:
    seen = {row[4] for row in ROWS} | set(METHODS.values())
    of_the_reader = {D.REJECT_TOO_LARGE, D.REJECT_METHOD_MISMATCH, D.REJECT_UNAUTHORIZED}
    assert seen == set(Decision) - of_the_reader
    print(f"FIGURE itip_judge rows={len(ROWS)} decisions={len(seen)}")


@pytest.mark.parametrize("ahead", [timedelta(hours=1), timedelta(hours=23), timedelta(days=400)])
def test_a_clock_that_is_ahead_holds_up_no_later_answer(ahead: timedelta) -> None:
    """RFC 5545 3.8.7.2: DTSTAMP is when the message was made, so it cannot lie behind its arrival."""
    wrong = answer(stamp=NOON + ahead)
    came = Bearer(ATTENDEE, proved=True, arrived=NOON)
    no = answer(partstat=P.DECLINED, stamp=NOON + timedelta(minutes=1))
    then = Bearer(ATTENDEE, proved=True, arrived=NOON + timedelta(minutes=2))
    assert after(standing(), [(wrong, came), (no, then)]).partstat is P.DECLINED


@pytest.mark.parametrize("kept", [Partstat.ACCEPTED, Partstat.DECLINED])
def test_an_answer_to_a_cancelled_pickup_changes_nothing_whatever_it_says(kept: Partstat) -> None:
    before = standing(is_live=False, partstat=kept, sequence=1)
    for method, word, sequence, proved in product(METHODS, Partstat, range(3), (True, False)):
        one = answer(method=method, partstat=word, sequence=sequence)
        assert after(before, [(one, replace(SURE, proved=proved))]) == before


ANSWERS = st.builds(
    lambda word, sequence, seconds, proved: (
        answer(partstat=word, sequence=sequence, stamp=NOON + timedelta(seconds=seconds)),
        Bearer(ATTENDEE, proved=proved, arrived=NOON + timedelta(hours=1)),
    ),
    st.sampled_from([P.ACCEPTED, P.TENTATIVE, P.DECLINED, P.NEEDS_ACTION, P.DELEGATED]),
    st.integers(0, 2),
    st.integers(0, 3),
    st.booleans(),
)


@given(st.lists(ANSWERS, min_size=2, max_size=4), st.integers(0, 2))
@settings(max_examples=200, deadline=None)
def test_a_set_of_answers_ends_in_the_same_state_in_whatever_order_it_comes(
    said: list[tuple[Answer, Bearer]], sequence: int
) -> None:
    """RFC 5546 2.1.5: the order is in the answers, not in their arrival."""
    before = standing(sequence=sequence)
    assert len({repr(_kept(after(before, order))) for order in permutations(said)}) == 1


@given(st.lists(ANSWERS, max_size=5), st.integers(0, 2))
@settings(max_examples=200, deadline=None)
def test_what_counts_is_the_newest_of_this_revision_by_the_standards_own_order(
    said: list[tuple[Answer, Bearer]], sequence: int
) -> None:
    """An oracle of its own: sort by DTSTAMP within the revision (RFC 5546 2.1.5, rules 2 to 4), take the last."""
    may = [
        (one.stamp, [P.DECLINED, P.TENTATIVE, P.ACCEPTED].index(one.partstat), one.partstat)
        for one, bearer in said
        if one.sequence == sequence
        and (one.partstat in (P.ACCEPTED, P.TENTATIVE) or (one.partstat is P.DECLINED and bearer.proved))
    ]
    ends = after(standing(sequence=sequence), said)
    assert ends.partstat == (max(may)[2] if may else P.NEEDS_ACTION)


def _kept(end: Any) -> tuple[Any, ...]:
    return end.partstat, end.reply_sequence, end.reply_stamp


@pytest.mark.parametrize(
    ("written", "wanted"),
    [
        ("mailto:pat@cust.example", "pat@cust.example"),
        ("MAILTO:Pat@Cust.Example", "pat@cust.example"),
        ("MailTo:pat@cust.example?subject=x", "pat@cust.example"),  # RFC 6068 2: hfields
        ("mailto:pat%2Bradio@cust.example", "pat+radio@cust.example"),  # RFC 6068 2: percent-encoding
        ("mailto:gorby%25kremvax@example.com", "gorby%kremvax@example.com"),  # the example of RFC 6068 6.1
        ("mailto:a@b.example,c@d.example", ""),  # two mailboxes are nobody's
        ("mailto:a@b.example%2Cc@d.example", ""),
        ("mailto:a@b.example%0D%0ABcc:c@d.example", ""),
        ("pat@cust.example", ""),  # RFC 5545 3.3.3: a URI
        ("invalid:nomail", ""),
        ("", ""),
    ],
)
def test_a_calendar_address_is_one_mailbox_or_none(written: str, wanted: str) -> None:
    assert address_of(written) == wanted


def test_nothing_about_people_stands_in_what_is_logged() -> None:
    texts = [repr(each) for each in (answer(comment="call me"), SURE, standing())]
    assert not any(word in text for text in texts for word in (ATTENDEE, ORGANIZER, UID, "call me"))
