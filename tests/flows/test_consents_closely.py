"""The edges of the ledger and of stops, each of which somebody broke on purpose without another test noticing."""

from __future__ import annotations

from typing import Any

import pytest

from notify.core.errors import Conflict
from notify.flows import reach, suppressions
from notify.store import people, schema
from tests.flows.conftest import Lines
from tests.flows.test_consents import E164, EVERY, PHONE, SERVICE, person_of, reply, rows, said, stop, texted

pytestmark = pytest.mark.long


def _contact(lines: Lines) -> Any:
    return [row for row in rows(lines, schema.contacts) if row.replaced_at is None][-1]


def _use(lines: Lines, done: Any, purposes: Any = SERVICE, **more: Any) -> None:
    reach.set_use(lines.house.ctx, lines.house.actor(), done.visit_id, person_of(lines, done), channel="sms",
                  purposes=purposes, allowed=True, how="counter", **more)  # fmt: skip


def test_a_stop_is_ended_only_for_whoever_wants_it_and_then_nothing_stands_beside_the_contact(lines: Lines) -> None:
    house, ctx = lines.house, lines.house.ctx
    done = texted(lines)
    suppressions.add(ctx, house.actor(), channel="sms", address=PHONE)
    assert _contact(lines).suppressed_how == "added"
    with pytest.raises(Conflict, match="Everything was stopped there"):
        suppressions.end(ctx, house.actor(), channel="sms", address=PHONE, wanted=False)
    assert _contact(lines).suppressed_at is not None
    suppressions.end(ctx, house.actor(), channel="sms", address=PHONE, wanted=True)
    assert (_contact(lines).suppressed_at, _contact(lines).suppressed_how) == (None, "")
    _use(lines, done)  # nobody has to say once more that they want it
    house.deliver(after=91)
    assert lines.states(done.visit_id, "checked_in") == [("sms", "sent", "")]


def test_a_correction_to_a_stopped_number_allows_nothing_there_even_if_uses_are_named(lines: Lines) -> None:
    house, ctx = lines.house, lines.house.ctx
    suppressions.add(ctx, house.actor(), channel="sms", address=PHONE)
    done = texted(lines, phone="07700 900456")
    before = len(said(lines, done))
    reach.set_contact(ctx, house.actor(), done.visit_id, person_of(lines, done), channel="sms", address=PHONE,
                      purposes=EVERY)  # fmt: skip
    assert len(said(lines, done)) == before and _contact(lines).suppressed_how == "added"


def test_what_is_said_is_about_the_address_of_that_day(lines: Lines) -> None:
    """GDPR art. 7(1): what is shown is that this person agreed to be written to there."""
    house, ctx = lines.house, lines.house.ctx
    done = texted(lines)
    old = _contact(lines).lookup
    reach.set_contact(ctx, house.actor(), done.visit_id, person_of(lines, done), channel="sms", address="07700 900456")
    _use(lines, done)
    ledger = sorted(rows(lines, schema.consents), key=lambda row: row.seq)
    assert ledger[0].lookup == old and ledger[-1].lookup == _contact(lines).lookup != old


def test_an_adult_may_allow_the_question_afterwards_by_saying_so(lines: Lines) -> None:
    done = texted(lines)
    _use(lines, done, ("afterwards",))
    with lines.house.read() as unit:
        person = person_of(lines, done)
        assert people.allowed_uses(unit, [person])[person]["sms"] == set(EVERY)


def test_a_stop_by_somebody_who_had_allowed_nothing_is_noted_all_the_same(lines: Lines) -> None:
    texted(lines, phone_purposes=())
    reply(lines, "STOP")
    assert [row.reason for row in suppressions.listed(lines.house.ctx, lines.house.actor())] == ["reply"]
    assert not lines.text.sent and any("stopped all" in one for one in texted(lines, phone=E164).warnings)


def test_a_stop_of_one_channel_leaves_the_others_alone(lines: Lines) -> None:
    done = lines.house.check_in()
    stop(lines, done, channel="sms")
    with lines.house.read() as unit:
        person = person_of(lines, done)
        assert people.allowed_uses(unit, [person])[person] == {"email": set(SERVICE), "sms": set()}
    assert [row.channel for row in suppressions.listed(lines.house.ctx, lines.house.actor())] == ["sms"]
