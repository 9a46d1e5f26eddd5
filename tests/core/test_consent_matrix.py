"""Who may be told what: each purpose, channel and state, held against a table written here from published rules.

The table follows the project's facts on messages, by kind:
- what belongs to the repair needs no consent to advertising (GDPR art. 6(1)(b)) and goes on the channel that the
  customer chose; a stop of the channel ends it (47 CFR 64.1200(a)(10)); what is needed then goes to staff to call;
- asking whether all is well counts as advertising (German BGH VI ZR 225/17; PECR reg. 22, for each channel): only with
  consent, and not to a child's contact (GDPR recital 38, from memory);
- the answer to somebody's own message, and one confirmation of a stop, may always go (47 CFR 64.1200(a)(12));
- a code goes to nobody who wants nothing; a warning goes unless its reader said so: our choices;
- reminders rest on the shop's interest: they go where pickup times do, until somebody objects (GDPR art. 21(1));
- of data that are set aside nothing but storage is allowed without consent (GDPR art. 18(2)): so only what somebody
  asks for, what protects them, and what giving the device back needs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notify.core import consent
from notify.core.notices import CUSTOMER_NOTICES, NOTICES, TO_NAMED
from notify.core.planner import Facts, Reach, Recipient, why_no_reach
from notify.core.second_look import Drop, Now, Send, look
from notify.core.tickets import Phase
from tests.parts.said_last import said_last

AT = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
ALL = frozenset({"repair", "pickup", "afterwards"})
STATES = ("never asked", "given", "withdrawn", "stopped all", "suppressed", "child", "undeliverable",
          "in the repaired device", "forgotten", "replaced address", "objected", "set aside")  # fmt: skip
# "" may be sent; else why not.
_SERVICE = {
    "never asked": "not_allowed", "given": "", "withdrawn": "not_allowed", "stopped all": "not_allowed",
    "suppressed": "suppressed", "child": "", "undeliverable": "undeliverable",
    "in the repaired device": "number_in_device", "forgotten": "forgotten", "replaced address": "", "objected": "",
    "set aside": "set_aside",
}  # fmt: skip
_OPTIONAL = _SERVICE | {"child": "not_allowed"}
_ANSWER = _SERVICE | {"never asked": "", "withdrawn": "", "stopped all": "", "suppressed": "", "set aside": ""}
_CODE = _SERVICE | {"withdrawn": "", "set aside": ""}  # something else is still allowed there
_WARNING = _ANSWER | {"suppressed": "suppressed"}  # by its reader; what was said at the counter silences no warning
EXPECTED = {
    "repair": _SERVICE, "pickup": _SERVICE, "reminder": _SERVICE | {"objected": "objected"},
    "afterwards": _OPTIONAL, "answer": _ANSWER, "code": _CODE,
    "warning": _WARNING, "privacy": _CODE,
}  # fmt: skip
# Needed to go on with the work: staff call when no way is left.
CALLED = {"question", "promise_changed", "ready", "called_back"}
# Needed to give the device back, also of somebody whose data are set aside.
NEEDED = {"question", "ready", "called_back", "pickup_confirmed", "pickup_moved", "pickup_cancelled",
          "proposal_declined"}  # fmt: skip
PHASES = {
    "ready": Phase.ON_SHELF, "collection_reminder": Phase.ON_SHELF, "pickup_missed_note": Phase.ON_SHELF,
    "handed_back": Phase.HANDED_BACK, "all_well": Phase.HANDED_BACK,
    "forget_soon": Phase.HANDED_BACK,
}  # fmt: skip


@dataclass(frozen=True)
class Cell:
    """What is stored about one person on one channel."""

    person: Recipient
    named: Reach
    device_with_us: bool = True


def cell(purpose: str, channel: str, state: str) -> Cell:
    """The state as the store reads it: core/planner.Recipient."""
    uses = {"never asked": frozenset(), "stopped all": frozenset(), "withdrawn": ALL - {purpose, "repair"},
            "child": frozenset(consent.may_be_asked(sorted(ALL), child=True))}.get(state, ALL)  # fmt: skip
    if state == "withdrawn" and purpose in ("pickup", "reminder"):
        uses = ALL - {"pickup"}
    how = {"stopped all": "counter", "suppressed": "reply"}.get(state, "")
    no = frozenset({"reminder"}) if state == "objected" else frozenset()
    reach = Reach("now", channel, uses, state == "in the repaired device", state == "undeliverable", how, no)
    named = Reach("old", channel, uses) if state == "replaced address" and purpose == "warning" else reach
    return Cell(Recipient("p", "en", (reach,), state == "forgotten", state == "set aside"), named)


def verdict(notice: str, channel: str, made: Cell) -> str:
    """ "" for sent on that channel to a contact of today, "call: why", or why not."""
    facts = Facts((made.person,), frozenset({"email", "sms"}), timedelta(0))
    now = Now(
        at=AT, phases=(PHASES.get(notice, Phase.ON_BENCH),), question_state="open",
        booking_state="" if notice == "pickup_cancelled" else "booked",
        named=made.named if NOTICES[notice].purpose in TO_NAMED else None,
    )  # fmt: skip
    got = look(notice, channel=channel, expires_at=AT + timedelta(hours=1), person=made.person, facts=facts, now=now)
    if isinstance(got, Send) and got.channel == "call":
        return f"call: {why_no_reach(NOTICES[notice], made.person, facts)}"
    if isinstance(got, Send):
        return "" if (got.channel, got.contact_id) == (channel, made.named.contact_id) else "another way"
    return got.reason if isinstance(got, Drop) else "waits"


def test_every_purpose_channel_and_state_allows_what_the_published_rules_allow_and_nothing_else() -> None:
    cells, wrong = 0, []
    for notice, channel, state in product(CUSTOMER_NOTICES, ("email", "sms"), STATES):
        purpose = NOTICES[notice].purpose
        why = "" if state == "set aside" and notice in NEEDED else EXPECTED[purpose][state]
        right = f"call: {why}" if why not in ("", "forgotten", "set_aside") and notice in CALLED else why
        got = verdict(notice, channel, cell(purpose, channel, state))
        cells += 1
        if got != right:
            wrong.append((notice, channel, state, got, right))
    print(f"FIGURE E6 cells={cells} purposes={len(EXPECTED)} states={len(STATES)} wrong={len(wrong)}")
    assert not wrong and {NOTICES[one].purpose for one in CUSTOMER_NOTICES} == set(EXPECTED)


def test_the_table_of_purposes_says_of_each_notice_whether_it_waits_for_decent_hours() -> None:
    assert set(consent.BY_CODE) == set(EXPECTED)
    for name in CUSTOMER_NOTICES:
        assert NOTICES[name].urgent is not consent.BY_CODE[NOTICES[name].purpose].quiet, name
    assert [one.code for one in consent.TABLE if one.optional] == ["afterwards"]
    assert all(one.source for one in consent.TABLE)


_ROWS = st.lists(st.tuples(st.sampled_from(("email", "sms")), st.sampled_from(sorted(ALL)), st.booleans()), max_size=30)


@settings(max_examples=150, deadline=None)
@given(_ROWS)
def test_what_counts_today_is_what_the_databases_own_newest_row_says(rows: list[tuple[str, str, bool]]) -> None:
    """A second derivation, by SQL in the standard library's own SQLite."""
    state = consent.standing(rows)
    assert state == said_last(rows)
    for channel in ("email", "sms"):
        allowed = {purpose for (way, purpose), yes in said_last(rows).items() if way == channel and yes}
        assert consent.allowed_on(state, channel) == allowed
        spoke_of = {purpose for way, purpose, _ in rows if way == channel}
        assert consent.is_stopped(state, channel) is (not allowed and bool(spoke_of & {"repair", "pickup"}))


@pytest.mark.parametrize("child", [True, False])
def test_nothing_optional_can_be_asked_of_a_childs_contact(child: bool) -> None:
    left = consent.may_be_asked(consent.EVERY_PURPOSE, child=child)
    assert ("afterwards" in left) is not child and {"repair", "pickup"} <= set(left)
