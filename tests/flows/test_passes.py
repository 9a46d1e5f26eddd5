"""A pass: named by the customer, confirmed by the stored contact, used once, over in time, its name forgotten early."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from notify.core.claim_number import read_pass_code
from notify.core.errors import Conflict, Invalid, NotAllowed, NotFound
from notify.core.tickets import Phase
from notify.flows import forget, handover, keep_rules, passes, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.desk_secret import WrongSecret
from notify.flows.view_handover import view_handover
from notify.store import contact_codes, events, people, tickets
from notify.store import passes as rows
from tests.flows.conftest import Lines, words
from tests.parts.house import House
from tests.parts.shelved import shelve, token_of

LONDON = ZoneInfo("Europe/London")


@pytest.fixture
def visit(house: House) -> Any:
    """Two devices on the shelf."""
    done = house.check_in(DeviceForm("Kestrel pocket radio", price_agreed="30"), DeviceForm("Otter camera"))
    for ticket_id in done.ticket_ids:
        shelve(house, ticket_id)
    return done


def sent_code(house: House, visit_id: str) -> str:
    """The code that the newest message to the contact tells."""
    with house.read() as unit:
        asked = [e for e in events.story_of(unit, visit_id=visit_id) if e.kind == "code_asked"][-1]
        return contact_codes.text_of(unit, str(asked.codes["code"]))


def give(house: House, visit_id: str, name: str = "Mia Oland") -> passes.Given:
    """A pass as a customer gives it: named, code read, code typed."""
    passes.ask(house.ctx, house.customer(), visit_id, name=name)
    return passes.confirm(house.ctx, house.customer(), visit_id, typed=sent_code(house, visit_id))


def collect(house: House, visit: Any, code: str, **more: Any) -> handover.HandedBack:
    return handover.hand_back(house.ctx, house.actor("counter"), ticket_ids=visit.ticket_ids, pass_code=code, **more)


def phases(house: House, visit: Any) -> set[Phase]:
    with house.read() as unit:
        return set(tickets.phases_of_visit(unit, visit.visit_id).values())


def states(house: House, visit: Any) -> list[str]:
    with house.read() as unit:
        return [one.state for one in rows.passes_of(unit, visit.visit_id)]


def kinds(house: House, visit: Any) -> list[str]:
    with house.read() as unit:
        return [event.kind for event in events.story_of(unit, visit_id=visit.visit_id)]


def test_a_pass_collects_everything_once_and_the_event_says_who_and_how(house: House, visit: Any) -> None:
    given = give(house, visit.visit_id)
    assert read_pass_code(given.code) == given.code
    done = collect(house, visit, given.code, since=house.clock() - timedelta(seconds=75))
    assert phases(house, visit) == {Phase.HANDED_BACK} and states(house, visit) == ["used"]
    with house.read() as unit:
        whole = events.get_event(unit, done.event_id)
        pass_row = rows.get_pass(unit, given.pass_id)
    assert whole is not None and whole.actor_id == house.actor("counter").id
    assert dict(whole.codes) == {
        "how": "pass", "tickets": ",".join(visit.ticket_ids), "pass": given.pass_id, "seconds": 75,
        "collector": pass_row.person_id,
    }  # fmt: skip
    assert [k for k in kinds(house, visit) if k.startswith("pass_")] == ["pass_asked", "pass_given", "pass_used"]
    with pytest.raises(WrongSecret, match="used already"):
        collect(house, visit, given.code)


def test_the_customer_is_told_by_name_who_collected_with_the_pass(lines: Lines) -> None:
    house = lines.house
    done = house.check_in(DeviceForm("Kestrel pocket radio"))
    shelve(house, done.ticket_ids[0])
    given = give(house, done.visit_id)
    house.deliver(after=91)
    collect(house, done, given.code)
    house.deliver(after=91)
    said = words(lines.mail.sent[-1])
    assert "we have handed back your Kestrel pocket radio to Mia Oland with your pass" in " ".join(said.split())


def test_only_the_code_that_went_to_the_contact_opens_a_pass(house: House, visit: Any) -> None:
    passes.ask(house.ctx, house.customer(), visit.visit_id, name="Mia Oland")
    right = sent_code(house, visit.visit_id)
    wrong = f"{(int(right) + 1) % 10**8:08d}"
    for typed in (wrong, "", "abc", right[:-1]):
        with pytest.raises((NotAllowed, Invalid)):
            passes.confirm(house.ctx, house.customer(), visit.visit_id, typed=typed)
    assert states(house, visit) == ["asked"]
    assert passes.confirm(house.ctx, house.customer(), visit.visit_id, typed=right).code
    with pytest.raises(Conflict):  # the same code opens no second one
        passes.confirm(house.ctx, house.customer(), visit.visit_id, typed=right)
    assert states(house, visit) == ["open"]


def test_a_code_for_something_else_opens_no_pass(house: House, visit: Any) -> None:
    from notify.flows import contact_codes as codes

    passes.ask(house.ctx, house.customer(), visit.visit_id, name="Mia Oland")
    codes.send_code(house.ctx, house.customer(), visit.visit_id, purpose="lost_ticket")
    with pytest.raises(NotAllowed):
        passes.confirm(house.ctx, house.customer(), visit.visit_id, typed=sent_code(house, visit.visit_id))
    assert states(house, visit) == ["asked"]


def test_nobody_is_named_where_no_contact_can_confirm_it(house: House) -> None:
    done = house.check_in(phone="", email="")
    shelve(house, done.ticket_ids[0])
    with pytest.raises(NotAllowed):
        passes.ask(house.ctx, house.customer(), done.visit_id, name="Mia Oland")
    assert states(house, done) == []
    given = passes.give(house.ctx, house.actor("counter"), done.visit_id, name="Mia Oland")  # staff can, in person
    assert collect(house, done, given.code).how == "pass"


@pytest.mark.parametrize("name", ["", "  ", "\n", "x" * 81, "https://bell.example.org/c/" + "b" * 32])
def test_a_name_is_asked_for_and_no_scan_is_taken_for_one(name: str, house: House, visit: Any) -> None:
    with pytest.raises(Invalid) as told:
        passes.ask(house.ctx, house.customer(), visit.visit_id, name=name)
    assert told.value.field == "delegate" and "code_asked" not in kinds(house, visit)


def test_at_most_three_may_collect_and_a_pass_taken_back_makes_room(house: House, visit: Any) -> None:
    for name in ("Mia Oland", "Ned Quay", "Ula Berg"):
        give(house, visit.visit_id, name)
        house.clock.advance(3601)  # so that no limit of codes stands in the way
    with pytest.raises(Conflict, match="3 people"):
        passes.ask(house.ctx, house.customer(), visit.visit_id, name="Tam Okoro")
    with house.read() as unit:
        first = rows.passes_of(unit, visit.visit_id)[0]
    passes.revoke(house.ctx, house.customer(), visit.visit_id, first.id)
    passes.revoke(house.ctx, house.customer(), visit.visit_id, first.id)  # twice is no fault, and no second event
    assert kinds(house, visit).count("pass_revoked") == 1
    assert give(house, visit.visit_id, "Tam Okoro").code


def test_naming_somebody_again_makes_the_unconfirmed_one_void(house: House, visit: Any) -> None:
    passes.ask(house.ctx, house.customer(), visit.visit_id, name="Mia Oland")
    given = give(house, visit.visit_id, "Ned Quay")
    assert states(house, visit) == ["revoked", "open"]
    with house.read() as unit:
        assert people.get_person(unit, rows.get_pass(unit, given.pass_id).person_id).name == "Ned Quay"


def test_a_pass_runs_out_at_its_very_instant_before_the_clock_has_noted_it(house: House, visit: Any) -> None:
    set_up.change_settings(house.ctx, house.actor(), {"pass_days": 2})
    given = give(house, visit.visit_id)
    house.clock.set(given.expires_at - timedelta(seconds=1))
    assert view_handover(house.ctx, house.actor(), visit.visit_id, pass_code=given.code).by_pass is not None
    house.clock.advance(1)
    assert view_handover(house.ctx, house.actor(), visit.visit_id, pass_code=given.code).by_pass is None
    with pytest.raises(WrongSecret, match="ran out"):
        collect(house, visit, given.code)
    assert phases(house, visit) == {Phase.ON_SHELF}
    assert passes.expire_due(house.ctx, house.system()) == 1 == kinds(house, visit).count("pass_expired")
    assert passes.expire_due(house.ctx, house.system()) == 0
    with house.read() as unit:
        assert rows.get_pass(unit, given.pass_id).ended_at == given.expires_at


def test_a_pass_changes_nothing_else_and_opens_no_claim_page(house: House, visit: Any) -> None:
    from notify.flows.claims import UnknownClaim, open_claim
    from notify.flows.handover import find_claim

    given = give(house, visit.visit_id)
    with pytest.raises(UnknownClaim):
        open_claim(house.ctx, given.code)
    with pytest.raises(NotFound):
        find_claim(house.ctx, house.actor(), given.code)
    with pytest.raises(WrongSecret):  # nor does a claim secret count as a pass, or a pass as one
        handover.hand_back(house.ctx, house.actor(), ticket_ids=visit.ticket_ids, token=given.code)


def test_when_the_bringer_takes_everything_the_passes_are_over(house: House, visit: Any) -> None:
    given = give(house, visit.visit_id)
    first, second = visit.ticket_ids
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[first], token=token_of(house, first))
    assert states(house, visit) == ["open"]  # something is left to collect
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[second], token=token_of(house, second))
    assert states(house, visit) == ["revoked"]
    handover.undo_handover(house.ctx, house.actor(), second, reason="wrong_person")
    with pytest.raises(WrongSecret, match="taken back"):
        handover.hand_back(house.ctx, house.actor(), ticket_ids=[second], pass_code=given.code)


def test_a_replaced_claim_ticket_leaves_the_pass_that_the_contact_confirmed(house: House, visit: Any) -> None:
    from notify.flows.desk_notes import replace_after_check

    given = give(house, visit.visit_id)
    replace_after_check(house.ctx, house.actor(), visit.visit_id, checked="knew the dent")
    assert collect(house, visit, given.code).how == "pass"


def test_somebody_with_a_pass_but_without_the_phone_uses_it_up_by_a_check(house: House, visit: Any) -> None:
    given = give(house, visit.visit_id)
    with house.read() as unit:
        delegate = rows.get_pass(unit, given.pass_id).person_id
    done = handover.hand_back(house.ctx, house.actor(), ticket_ids=visit.ticket_ids[:1], collector=delegate,
                              checked="Mia Oland on a bus pass")  # fmt: skip
    assert done.how == "staff_check" and states(house, visit) == ["used"]
    other = house.check_in(name="Sam Ferris")
    shelve(house, other.ticket_ids[0])
    with pytest.raises(Invalid, match="Nobody named this person"):
        handover.hand_back(house.ctx, house.actor(), ticket_ids=other.ticket_ids, collector=delegate,
                           checked="says she is Mia")  # fmt: skip


def test_the_name_goes_soon_after_the_pass_and_long_before_the_customer(house: House, visit: Any) -> None:
    given = give(house, visit.visit_id)
    with house.read() as unit:
        delegate = rows.get_pass(unit, given.pass_id).person_id
    house.clock.advance(60 * 86400)  # the pass ran out after 14 days; nobody has noted it yet
    assert forget.forget_delegates(house.ctx, house.system()) == 0
    passes.expire_due(house.ctx, house.system())
    assert forget.forget_delegates(house.ctx, house.system()) == 1
    assert forget.forget_delegates(house.ctx, house.system()) == 0
    with house.read() as unit:
        assert people.is_forgotten(unit, delegate) and rows.find_by_code(unit, given.code) is None
        bringer = tickets.get_ticket(unit, visit.ticket_ids[0]).person_id
        assert people.get_person(unit, bringer).name == "Ines Farrow"
        from notify.store import erasing

        newest = erasing.list_erasures(unit)[0]
    assert newest.reason == "pass_over" and (newest.counts["delegates"], newest.counts["people"]) == (1, 0)


def test_the_day_of_forgetting_is_counted_from_the_end_of_the_pass(house: House, visit: Any) -> None:
    keep_rules.change_rule(house.ctx, house.actor(), "delegate", period="P3D")
    given = give(house, visit.visit_id)
    collect(house, visit, given.code)
    now = house.clock()
    midnight = datetime.combine(now.astimezone(LONDON).date() + timedelta(days=3), time(), LONDON)
    house.clock.advance((midnight - now).total_seconds() - 1)
    assert forget.forget_delegates(house.ctx, house.system()) == 0
    house.clock.advance(1)
    assert forget.forget_delegates(house.ctx, house.system()) == 1


def test_forgetting_the_customer_forgets_whom_they_named(house: House, visit: Any) -> None:
    given = give(house, visit.visit_id)
    with house.read() as unit:
        delegate = rows.get_pass(unit, given.pass_id).person_id
        bringer = tickets.get_ticket(unit, visit.ticket_ids[0]).person_id
    assert forget.erase_person(house.ctx, house.actor(), bringer)
    with house.read() as unit:
        assert people.is_forgotten(unit, delegate)
    with pytest.raises(NotFound):
        house.ctx.db.vault.data_key(delegate)
    with pytest.raises(WrongSecret):
        collect(house, visit, given.code)


def test_an_unconfirmed_name_goes_too(house: House, visit: Any) -> None:
    passes.ask(house.ctx, house.customer(), visit.visit_id, name="Mia Oland")
    house.clock.advance(8 * 86400)
    assert passes.expire_due(house.ctx, house.system()) == 1
    assert forget.forget_delegates(house.ctx, house.system()) == 1
