"""What text messages cost: exact decimals, by month on the shop's wall, the price of each month, every paid try."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import insert, select

from notify.core.cost import minor_units, parse_part_price
from notify.core.errors import Invalid
from notify.flows import set_up
from notify.flows.view_cost import view
from notify.store import schema as s


@given(st.integers(0, 100_000), st.integers(0, 10**6))
def test_parts_times_price_is_exact_and_rounded_half_up_against_fractions(parts: int, millionths: int) -> None:
    """The standard library's Fraction is the second opinion: rational numbers, no rounding before the end."""
    price = parse_part_price(f"{millionths // 10**6}.{millionths % 10**6:06d}")
    assert price is not None
    exact = Fraction(millionths, 10**6) * parts * 100
    assert minor_units(price * parts, currency="EUR") == int(exact + Fraction(1, 2))


@pytest.mark.parametrize(
    ("text", "price"), [("0.045", "0.045"), ("0,045", "0.045"), (" 1 ", "1"), ("0.1", "0.1"), ("100", "100")]
)
def test_a_price_is_read_with_either_decimal_sign(text: str, price: str) -> None:
    assert parse_part_price(text) == Decimal(price)
    assert parse_part_price("") is None


@pytest.mark.parametrize("text", ["-1", "0.0450001", "1e3", "NaN", "4,5 ct", "101", ".05", "١", "1.2.3", "inf"])
def test_what_is_no_price_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(Invalid, match=r"0\.045"):
        parse_part_price(text)


def test_half_a_minor_unit_goes_up_as_on_a_bill() -> None:
    assert [minor_units(Decimal(text), currency="EUR") for text in ("0.045", "0.035", "0.0449")] == [5, 4, 4]


def test_yen_have_no_minor_unit_and_dinars_three() -> None:
    """ISO 4217: JPY 0, KWD 3."""
    assert minor_units(Decimal("10.5"), currency="JPY") == 11
    assert minor_units(Decimal("0.0455"), currency="KWD") == 46


def sent(house: Any, visit_id: str, *messages: tuple[datetime, str, int, str, int]) -> None:
    """Rows as the dispatcher leaves them: (written at, notice, parts, delivery, ambiguous)."""
    with house.ctx.db.write(house.shop_id) as unit:
        like = dict(unit.connection.execute(select(s.messages)).mappings().first() or {})
        for n, (at, notice, parts, delivery, ambiguous) in enumerate(messages):
            row = like | {
                "id": f"paid-{n}", "seq": 1000 + n, "cause": f"paid-{n}", "notice": notice, "channel": "sms",
                "parts": parts, "composed_at": at, "ended_at": at, "delivery": delivery, "ambiguous": ambiguous,
                "state": "given_up" if delivery == "failed" else "sent", "reason": "x",
            }  # fmt: skip
            unit.connection.execute(insert(s.messages).values(**row))


def test_months_begin_at_midnight_of_the_shops_wall_and_every_paid_try_counts(house: Any) -> None:
    set_up.change_settings(house.ctx, house.actor(), {"zone": "Pacific/Auckland", "sms_part_price": "0.05"},
                           valid_from=date(2026, 10, 1))  # fmt: skip
    set_up.change_settings(house.ctx, house.actor(), {"sms_part_price": "0.0455"}, valid_from=date(2026, 11, 15))
    done = house.check_in()
    # 1 November 2026 begins in Auckland at 31 October 11:00 UTC (UTC+13 in summer).
    last, first = datetime(2026, 10, 31, 10, 59, tzinfo=UTC), datetime(2026, 10, 31, 11, 0, tzinfo=UTC)
    sent(
        house, done.visit_id,
        (last, "ready", 2, "handed_over", 0), (first, "ready", 2, "delivered", 0), (first, "question", 3, "failed", 0),
        (first, "ready", 1, "handed_over", 1),  # a try nobody answered, and another one
        (first, "ready", 4, "", 0),  # written and never tried
        (datetime(2024, 11, 1, tzinfo=UTC), "ready", 9, "handed_over", 0),  # too long ago
    )  # fmt: skip
    november, october = view(house.ctx, house.actor()).months
    assert (october.first, october.parts, october.price, october.amount) == (
        date(2026, 10, 1), 2, Decimal("0.05"), Decimal("0.10"))  # fmt: skip
    assert (november.first, november.messages, november.parts) == (date(2026, 11, 1), 3, 7)
    assert november.amount == Decimal("0.0455") * 7  # the price of its last day so far
    assert [(one.notice, one.messages, one.parts) for one in november.by_notice] == [
        ("ready", 2, 4),
        ("question", 1, 3),
    ]
    assert sum(one.amount or Decimal(0) for one in november.by_notice) == november.amount


def test_without_a_price_only_parts_are_counted_and_without_texts_nothing(house: Any) -> None:
    assert view(house.ctx, house.actor()).months == ()
    done = house.check_in()
    sent(house, done.visit_id, (house.clock(), "ready", 2, "handed_over", 0))
    seen = view(house.ctx, house.actor())
    assert seen.price is None and [(m.parts, m.amount) for m in seen.months] == [(2, None)]


def test_a_real_text_message_brings_its_own_parts(house: Any) -> None:
    from notify.flows import moves

    set_up.change_settings(house.ctx, house.actor(), {"sms_part_price": "0.045"}, valid_from=date(2026, 1, 1))
    done = house.check_in()
    for phase in ("inspecting", "in_line", "on_bench", "on_shelf"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.deliver(after=91)
    texts = len(house.sent("sms"))
    (month,) = view(house.ctx, house.actor()).months
    assert (month.messages, month.amount) == (texts, Decimal("0.045") * month.parts) and month.parts >= texts >= 1
    print(f"FIGURE cost texts={texts} parts={month.parts} amount={month.amount} exact=yes")
