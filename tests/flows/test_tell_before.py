"""The one word before somebody is forgotten: to whom, when, what it says, and that it never comes twice.

What it must hold is the issue's own list; that nothing is kept longer for its sake is GDPR art. 5(1)(e) as we read it.
"""

from __future__ import annotations

import email
from datetime import timedelta
from email import policy
from typing import Any

import pytest

from notify.core.languages import LANGUAGES
from notify.flows import data_holds, forget, keep_rules, reach, set_up, suppressions, tell_before
from tests.flows.conftest import Lines
from tests.flows.test_ask_after import person_of, repaired

pytestmark = pytest.mark.long
DAYS, KEPT = 7, 90  # the shop's days before; the rule of keeping contacts, both as they are at first
MAIL = {"email": "ines@example.org", "email_purposes": ("repair",), "phone": ""}


def home(lines: Lines, **whom: Any) -> Any:
    return repaired(lines, **(MAIL | whom))


def later(lines: Lines, days: float) -> int:
    """So many days later the job runs, and by noon what is due leaves; how many were told."""
    lines.house.clock.advance(days * 86400)
    told = tell_before.tell_due(lines.house.ctx, lines.house.system())
    lines.house.deliver()
    return told


def texts(lines: Lines) -> list[str]:
    """The plain words of every mail that left, the newest last."""
    sent = [email.message_from_bytes(one.payload, policy=policy.default) for one in lines.mail.sent]
    return [part.get_content() for mail in sent if (part := mail.get_body(("plain",))) is not None]


def told(lines: Lines, done: Any) -> list[Any]:
    return lines.rows(done.visit_id, "forget_soon")


def test_it_comes_once_some_days_before_and_says_what_goes_when_what_stays_and_what_they_can_do(lines: Lines) -> None:
    done = home(lines)
    assert later(lines, KEPT - DAYS - 1) == 0
    assert later(lines, 1) == 1
    (row,) = told(lines, done)
    assert (row.channel, row.state) == ("email", "sent")
    day = (lines.house.clock() + timedelta(days=DAYS)).strftime("%-d %B")
    for part in (day, "delete your name", "stays, but without you", "a copy or object", "https://", "/c/"):
        assert part in texts(lines)[-1], part
    assert [later(lines, 1) for _ in range(DAYS - 1)] == [0] * (DAYS - 1)
    assert forget.forget(lines.house.ctx, lines.house.system()).due == ()
    later(lines, 1)
    assert len(forget.forget(lines.house.ctx, lines.house.system()).due) == 1 and len(told(lines, done)) == 1


@pytest.mark.parametrize(
    "whom",
    [
        {"email_purposes": ()},
        {"email_purposes": ("pickup",)},
        {"email": "", "phone": "07700 900123", "phone_purposes": ("repair",)},
    ],
)
def test_nobody_is_told_where_repair_mails_were_not_allowed(lines: Lines, whom: dict[str, Any]) -> None:
    done = home(lines, **whom)
    assert later(lines, KEPT - DAYS) == 0 and told(lines, done) == []


def test_nobody_is_told_at_an_address_that_is_stopped_nor_whom_a_reason_keeps(lines: Lines) -> None:
    stopped, kept = home(lines), home(lines, name="Tam Reed", email="tam@example.org")
    suppressions.add(lines.house.ctx, lines.house.actor(), channel="email", address="ines@example.org")
    data_holds.set_hold(lines.house.ctx, lines.house.actor(), kept.visit_id, "dispute", note="a dial sticks")
    assert later(lines, KEPT - DAYS) == 0 and told(lines, stopped) + told(lines, kept) == []


def test_the_shop_may_have_other_days_or_none(lines: Lines) -> None:
    home(lines)
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"forget_notice_days": 0})
    assert later(lines, KEPT - DAYS) == 0
    set_up.change_settings(lines.house.ctx, lines.house.actor(), {"forget_notice_days": 2})
    assert [later(lines, days) for days in (0, 4, 1)] == [0, 0, 1]


def test_a_short_rule_is_not_stretched_and_whoever_goes_tonight_is_not_told(lines: Lines) -> None:
    soon, now = home(lines), home(lines, name="Tam Reed", email="tam@example.org")
    keep_rules.change_rule(lines.house.ctx, lines.house.actor(), data_class="contact_card", period="P3D")
    assert later(lines, 1) == 2 and told(lines, soon) and told(lines, now)
    late = home(lines, name="Mia Oland", email="mia@example.org")
    assert later(lines, 3) == 0 and told(lines, late) == []
    assert len(forget.forget(lines.house.ctx, lines.house.system()).due) == 3


def test_somebody_who_comes_back_before_it_leaves_is_not_told_then(lines: Lines) -> None:
    done = home(lines)
    lines.house.clock.advance((KEPT - DAYS) * 86400)
    assert tell_before.tell_due(lines.house.ctx, lines.house.system()) == 1
    reach.set_contact(lines.house.ctx, lines.house.actor(), done.visit_id, person_of(lines, done), channel="email",
                      address="")  # fmt: skip
    lines.house.deliver()
    assert [row.state for row in told(lines, done)] == ["dropped"]


@pytest.mark.parametrize("language", LANGUAGES)
def test_it_is_said_in_every_language_without_a_text_message(lines: Lines, language: str) -> None:
    done = home(lines, language=language, phone="07700 900123", phone_purposes=("repair",))
    assert later(lines, KEPT - DAYS) == 1
    assert [row.channel for row in told(lines, done)] == ["email"]
    stays = {"en": "stays, but without you", "de": "bleibt, aber ohne Sie", "it": "resta, ma senza di lei"}
    assert stays[language] in texts(lines)[-1]
