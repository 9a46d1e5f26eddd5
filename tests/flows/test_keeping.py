"""Who goes when, and who stays why: rules, tickets, holds, follow-ups and requests together, on both databases."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import insert, update

from notify.core.errors import Conflict, Invalid, NotAllowed
from notify.flows import data_holds, forget, handover, keep_proofs, keep_rules, view_keeping
from notify.flows.check_in_form import DeviceForm
from notify.flows.keeping import fate
from notify.store import erasing, messages, people, schema, tickets
from tests.parts.house import House
from tests.parts.shelved import shelve, token_of

pytestmark = pytest.mark.long
DAY = 86400
LONDON = ZoneInfo("Europe/London")


def home(house: House, **whom: Any) -> Any:
    """A radio that was repaired, paid and handed back; its visit."""
    visit = house.check_in(DeviceForm("Kestrel pocket radio"), **whom)
    shelve(house, visit.ticket_ids[0])
    handover.hand_back(house.ctx, house.actor(), ticket_ids=list(visit.ticket_ids),
                       token=token_of(house, visit.ticket_ids[0]))  # fmt: skip
    return visit


def person_of(house: House, visit: Any) -> str:
    with house.read() as unit:
        return str(tickets.get_ticket(unit, visit.ticket_ids[0]).person_id)


def state(house: House, visit: Any) -> tuple[str, tuple[str, ...]]:
    with house.read() as unit:
        found = fate(house.ctx, unit, person_of(house, visit))
    return found.state, found.reasons


def _set(house: House, table: Any, which: Any, **values: Any) -> None:
    with house.ctx.db.write(house.shop_id) as unit:
        unit.connection.execute(update(table).where(table.c.shop_id == house.shop_id, which).values(**values))


def _reason(house: House, visit: Any, code: str) -> None:
    """Makes one reason of core/retention.EXCEPTIONS true for the visit, where it can be by the product's own ways."""
    t = schema.tickets
    if code == "unpaid":
        _set(house, t, t.c.id == visit.ticket_ids[0], price_agreed=3000, paid=False, outcome="repaired")
    elif code == "uncollected":
        _set(house, t, t.c.id == visit.ticket_ids[0], phase="left_behind")
    elif code == "follow_up":
        new = house.check_in(DeviceForm("Kestrel pocket radio"), name="Tam Reed", phone="", email="tam@example.org")
        _set(house, t, t.c.id == new.ticket_ids[0], follows_id=visit.ticket_ids[0])
    elif code == "request":
        row = {
            "id": "r" * 36, "seq": 1, "person_id": person_of(house, visit), "visit_id": visit.visit_id, "reason": "",
            "kind": "access", "state": "open", "how": "desk", "received_at": house.clock(), "due_on": date(2027, 1, 1),
        }  # fmt: skip
        with house.ctx.db.write(house.shop_id) as unit:
            unit.connection.execute(insert(schema.requests).values(shop_id=house.shop_id, **row))
    elif code:
        data_holds.set_hold(house.ctx, house.actor(), visit.visit_id, code, note="the buzz came back")


# Exception -> what becomes of the person after the 90 days; GDPR art. 17(3) and the shop's own open business.
EXPECTED: dict[str, tuple[str, tuple[str, ...]]] = {
    "": ("due", ()), "unpaid": ("kept", ("unpaid",)), "uncollected": ("kept", ("uncollected",)),
    "dispute": ("kept", ("dispute",)), "legal": ("kept", ("legal",)), "request": ("kept", ("request",)),
    "follow_up": ("kept", ("follow_up",)),
}  # fmt: skip


def test_after_the_period_a_person_goes_unless_one_of_the_reasons_keeps_them(house: House) -> None:
    visits = {code: home(house, email=f"ines{n}@example.org") for n, code in enumerate(EXPECTED)}
    for code, visit in visits.items():
        _reason(house, visit, code)
    assert {state(house, visit)[0] for visit in visits.values()} == {"running"}
    house.clock.advance(90 * DAY)
    assert {code: state(house, visit) for code, visit in visits.items()} == EXPECTED
    done = forget.forget(house.ctx, house.system(), prove=False)
    assert done.due == (person_of(house, visits[""]),)
    with house.read() as unit:
        gone = {code for code, visit in visits.items() if people.is_forgotten(unit, person_of(house, visit))}
    assert gone == {""}


def test_a_person_is_due_from_the_midnight_on_the_shops_wall_and_not_a_second_before(house: House) -> None:
    """Reckoned by hand: handed back in winter time, due in summer time, whose midnight is an hour earlier in UTC."""
    keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P6M")
    visit = home(house)
    closed = house.clock().astimezone(LONDON).date()
    due = datetime(2027, 5, closed.day, tzinfo=LONDON)
    assert closed.month == 11 and due.utcoffset() == timedelta(hours=1)
    house.clock.advance((due - house.clock()).total_seconds() - 1)
    assert state(house, visit)[0] == "running"
    house.clock.advance(1)
    assert state(house, visit)[0] == "due"


def test_a_second_look_past_its_day_still_holds_shouts_once_and_ends_only_by_hand(house: House) -> None:
    visit = home(house)
    tomorrow = house.ctx.today(_shop(house)) + timedelta(days=1)
    hold = data_holds.set_hold(house.ctx, house.actor(), visit.visit_id, "dispute", note="the dial", review_on=tomorrow)
    house.clock.advance(200 * DAY)
    with pytest.raises(Conflict):
        data_holds.set_hold(house.ctx, house.actor(), visit.visit_id, "dispute", note="once more")
    [line] = data_holds.list_holds(house.ctx, house.actor())
    assert line.overdue and line.note == "the dial" and state(house, visit) == ("kept", ("dispute",))
    while house.clock().astimezone(LONDON).hour < data_holds.RINGS_FROM:
        house.clock.advance(3600)
    assert [data_holds.ring_due(house.ctx, house.system()) for _ in range(2)] == [1, 0]
    house.deliver()
    with house.read() as unit:
        rung = [m.state for m in messages.list_messages(unit) if m.notice == "hold_review_shop"]
    assert rung == ["sent"]
    data_holds.end_hold(house.ctx, house.actor(), hold)
    assert state(house, visit) == ("due", ())
    with pytest.raises(NotAllowed):
        data_holds.set_hold(house.ctx, house.actor("counter"), visit.visit_id, "legal", note="a letter came")
    with pytest.raises(Invalid):
        data_holds.set_hold(house.ctx, house.actor(), visit.visit_id, "legal")


def _shop(house: House) -> Any:
    with house.read() as unit:
        return house.ctx.shop(unit)


def test_the_dry_run_says_what_goes_and_stays_by_claim_number_and_names_nobody(house: House) -> None:
    visit = home(house)
    assert view_keeping.view_fates(house.ctx, house.actor()) == ()
    [seen] = view_keeping.view_fates(house.ctx, house.actor(), everyone=True)
    assert seen.fate.state == "running" and (seen.goes["people"], seen.goes["contacts"], seen.goes["tickets"]) == (
        1,
        2,
        1,
    )
    assert {one.data_class for one in seen.stays} >= {"job_record", "consent_record", "erasure_record"}
    assert "Ines" not in repr(seen) and "example.org" not in repr(seen) and "07700" not in repr(seen)
    house.clock.advance(91 * DAY)
    assert [one.fate.state for one in view_keeping.view_fates(house.ctx, house.actor())] == ["due"]
    assert visit.ticket_ids


def test_a_shorter_period_says_how_many_go_and_counts_from_tomorrow(house: House) -> None:
    visit = home(house)
    house.clock.advance(40 * DAY)
    told = keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P30D", preview=True)
    today = house.ctx.today(_shop(house))
    assert (told.due, told.due_more, told.rule.valid_from) == (1, 1, today + timedelta(days=1))
    with pytest.raises(Invalid):
        keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P30D", valid_from=today)
    keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P30D")
    assert state(house, visit)[0] == "running"
    house.clock.advance(DAY)
    assert state(house, visit)[0] == "due"
    longer = keep_rules.change_rule(house.ctx, house.actor(), "contact_card", period="P1Y")
    assert longer.rule.valid_from == house.ctx.today(_shop(house)) and state(house, visit)[0] == "running"


def test_proofs_go_after_their_own_time_and_not_a_day_before(house: House) -> None:
    """Three years from the end of the calendar year 2027: the first day without them is 1 January 2031."""
    visit = home(house)
    house.clock.advance(91 * DAY)
    forget.forget(house.ctx, house.system())
    forget.confirm(house.ctx, house.system())
    house.clock.advance((datetime(2030, 12, 31, 12, tzinfo=UTC) - house.clock()).total_seconds())
    assert sum(keep_proofs.forget_proofs(house.ctx, house.system()).values()) == 0
    house.clock.advance(DAY)
    gone = keep_proofs.forget_proofs(house.ctx, house.system())
    assert gone["consent_record"] > 0 and gone["erasure_record"] == 1
    with house.read() as unit:
        assert (
            erasing.list_erasures(unit) == () and tickets.get_ticket(unit, visit.ticket_ids[0]).phase == "handed_back"
        )
