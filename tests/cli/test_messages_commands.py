"""The owner's look at messages, sending once more, what texts cost, and where the bell rings, by command."""

from __future__ import annotations

from typing import Any

from notify.core.messages import MessageState
from notify.store import messages
from notify.wiring import Services
from tests.parts.clock import FakeClock


def deliver(shop: Any, *, after: float = 91) -> None:
    """A dispatcher that looks at the installation `after` seconds from now."""
    from notify.wiring import system_clock

    clock = FakeClock(system_clock())
    clock.advance(after)
    services: Services = shop.installation.open(clock=clock)
    while services.dispatcher.run_once(services.shop_ids()[0]):
        pass
    shop.installation.close()
    shop.installation.opened.clear()


def test_messages_are_listed_by_group_with_what_waits_and_as_json(shop: Any) -> None:
    number = shop.check_in()
    told = shop.ok("messages", "--json").data
    assert told["waiting"] == 1 and told["oldest"]["line"]["notice"] == "checked_in" and told["late"] == 0
    assert [m["number"] for m in shop.ok("messages", "--state", "waiting", "--json").data["lines"]] == [number]
    assert shop.ok("messages", "--state", "told", "--json").data["lines"] == []
    assert "1 waiting" in shop.ok("messages").out and "The oldest" in shop.ok("messages", "--number", number).out
    wrong = shop("messages", "--number", "QQQ", "--json")
    assert wrong.code == 2 and wrong.problem["problems"]
    assert shop("messages", "--state", "lost").code == 2


def test_a_message_is_sent_once_more_with_a_reason_or_it_is_said_why_not(shop: Any) -> None:
    shop.ok("shop", "set", "telling_hours=mon-sun 00:00-24:00")  # so that the hour of the test does not matter
    number = shop.check_in()
    waiting = shop.ok("messages", "--json").data["lines"][0]["id"]
    assert shop("message", "resend", waiting, "--reason", "lost").code == 5  # it has not left yet
    deliver(shop)
    told = shop.ok("messages", "--state", "told", "--json").data["lines"]
    assert [m["state"] for m in told] == [str(MessageState.SENT)]
    assert shop("message", "resend", told[0]["id"]).code == 2  # no reason
    made = shop.ok("message", "resend", told[0]["id"][:8], "--reason", "not_seen", "--json").data
    services = shop.installation.open()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        again = messages.get_message(unit, made["message_id"])
    shop.installation.close()
    assert again is not None and again.resend == 1 and made["channel"] == "email"
    story = shop.ok("ticket", "show", number, "--json").out
    assert "message_resent" in story


def test_the_cost_says_that_no_price_is_set_until_one_is(shop: Any) -> None:
    assert "shelfbell shop set sms_part_price=0.045" in shop.ok("messages", "cost").out
    assert shop("shop", "set", "sms_part_price=dear").code == 2
    shop.ok("shop", "set", "sms_part_price=0,045")
    assert "One part costs 0.045 GBP now." in shop.ok("messages", "cost").out
    assert shop.ok("messages", "cost", "--json").data == {"currency": "GBP", "price": "0.045", "months": []}


def test_the_bell_is_set_by_name_shown_masked_and_erased(shop: Any) -> None:
    assert shop("staff", "bell", "Owner", "--by", "sms").code == 2
    said = shop.ok("staff", "bell", "Owner", "--email", "ada@example.net", "--phone", "07700 900777", "--by", "both")
    assert "a••@example.net" in said.out and "ada@example.net" not in said.out
    shop.ok("staff", "bell", "Owner", "--by", "email")  # what is not named stays
    (owner,) = shop.ok("staff", "list", "--json").data
    assert (owner["rings_by"], owner["email"], owner["phone"]) == ("email", "a••@example.net", "+44 •••• ••• 777")
    shop.ok("staff", "bell", "Owner", "--erase")
    (owner,) = shop.ok("staff", "list", "--json").data
    assert (owner["rings_by"], owner["email"], owner["phone"]) == ("", "", "")
    assert shop("staff", "bell", "Nobody").code == 4
