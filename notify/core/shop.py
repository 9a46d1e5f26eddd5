"""What a shop can set for itself: each setting with its default, its meaning and where its figure comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from notify.core.errors import Invalid
from notify.core.text import clean_block, clean_line


@dataclass(frozen=True, slots=True)
class ShopSetting:
    """One dated setting of a shop: default, one-line help, and the source and date of a figure.

    `most` is the highest figure that can be meant, or the longest text; a slip beyond it would stop the clock's jobs.
    """

    default: Any
    help: str
    source: str = "the shop's own choice"
    most: int = 500


_COMMON = "common practice, no source"
PROMISE_RULES = ("ask", "tell")
# Settings that are rules of keeping now (core/retention), with the kind of data that has each.
MOVED = {"keep_period": "contact_card", "delegate_keep_days": "delegate"}
PROMISE_TICKS = (5, 10, 15, 20, 30, 60)
SHOP_SETTINGS: dict[str, ShopSetting] = {
    "name": ShopSetting("", "what customers call the shop", most=80),
    "address": ShopSetting("", "street and town, one line each"),
    "phone": ShopSetting("", "the number customers may call, in international form"),
    "email": ShopSetting("", "where the shop reads its own notices"),
    "bell_phone": ShopSetting(
        "", "the number for text messages to the shop itself, in international form; empty = none"
    ),
    "zone": ShopSetting("Europe/London", "the shop's time zone, an IANA name"),
    "region": ShopSetting("GB", "country whose way of writing phone numbers is assumed, two letters"),
    "language": ShopSetting("en", "language of the shop, and of customers who state none"),
    "currency": ShopSetting("GBP", "three letters, ISO 4217"),
    "slot_minutes": ShopSetting(15, "length of a pickup slot", _COMMON),
    "lead_minutes": ShopSetting(30, "how soon the first slot may be", _COMMON, most=14 * 24 * 60),
    "horizon_days": ShopSetting(14, "how many days ahead slots are offered", _COMMON, most=366),
    "holidays_of": ShopSetting(
        "",
        "where the public holidays on which the shop is closed are taken from, as in GB-ENG or DE-BY; empty = none",
        "the package holidays, which is no official list; the shop's own days win; checked 2026-11-27",
        most=12,
    ),
    "reminder_hours": ShopSetting(3, "how long before a slot the reminder leaves", _COMMON, most=14 * 24),
    "missed_notes": ShopSetting(
        2,
        "after so many missed pickups nobody is written to about it, and staff are asked to call; 0 = no notes at all",
        _COMMON,
        most=20,
    ),
    "collection_days": ShopSetting(
        [3, 10, 24], "days on the shelf after which a collection reminder leaves; then none", _COMMON, most=3660
    ),
    "review_days": ShopSetting(
        365,
        "days after which somebody looks again why a device that nobody collected, and its owner's data, are kept",
        "no law names a figure; GDPR art. 5(1)(e) and 17(3)(e): no longer than needed; checked 2026-11-27",
        most=3660,
    ),
    "all_well_days": ShopSetting(
        0,
        "days after which whoever agreed to it is asked once whether all is well; 0 = nobody is asked",
        "the shop's own choice; it counts as advertising (BGH VI ZR 225/17), so only with consent; checked 2026-11-27",
        most=60,
    ),
    "forget_notice_days": ShopSetting(
        7,
        "days before somebody is forgotten on which they are told so by mail, once ever; 0 = nobody is told",
        "our choice; no law asks for it (from memory: GDPR art. 5(1)(a) asks for openness); checked 2026-11-28",
        most=60,
    ),
    "telling_hours": ShopSetting(
        "",
        "when customers may be written to, such as: mon-sat 08:00-21:00; sun 10:00-20:00; empty: as the installation",
        "47 CFR 64.1200(c)(1): not before 8 or after 21 o'clock; some places are stricter; checked 2026-11-25",
    ),
    "long_past_hours": ShopSetting(
        6,
        "hours after which customers are not told any more of a moment that is over, such as a part that came in; what "
        "still holds, such as a device that is ready, is told",
        _COMMON,
        most=30 * 24,
    ),
    "question_days": ShopSetting(7, "how long a question stays open", _COMMON, most=366),
    "alarm_minutes": ShopSetting(
        60, "how long a message that might have left may wait before the messages page is alarmed", _COMMON, most=10_080
    ),
    "sms_part_price": ShopSetting(
        "", "what one text message costs, in the shop's currency, such as 0.045; empty = unknown", "your gateway's bill"
    ),
    "proving_minutes": ShopSetting(
        10, "how long a repaired device is watched before it goes to the shelf", _COMMON, most=7 * 24 * 60
    ),
    "promise_level": ShopSetting(90, "of 100 promises so many should be kept", "the shop's own choice", most=99),
    "promise_tick": ShopSetting(
        30, "promised times are whole steps of so many minutes: no false precision", _COMMON, most=60
    ),
    "promise_warn": ShopSetting(
        50, "the shop is warned when the chance of keeping a promise falls below so many percent", _COMMON, most=99
    ),
    "promise_rule": ShopSetting(
        "ask", "a promise that will hardly be kept: ask = staff decide, tell = the customer is told a new time at once"
    ),
    "counter_people": ShopSetting(1, "how many people hand devices back at the same time", most=8),
    "code_above": ShopSetting(
        0,
        "prices above this many minor units need a code sent to the stored contact; 0 = never",
        "the shop's own choice",
        most=100_000_000,
    ),
    "pass_days": ShopSetting(14, "days after which a pass to collect for somebody runs out", _COMMON, most=366),
    "hold_hours": ShopSetting(
        24,
        "hours after an address or number was changed in which staff check who collects, even with the right ticket; "
        "0 = never",
        "our choice: whoever changes it to collect comes soon, and the old address has been told by then",
        most=14 * 24,
    ),
    "controller": ShopSetting("", "name and address of who answers for the data, if not the shop's own"),
    "authority": ShopSetting("", "the data-protection authority a customer may complain to"),
    "joint_controller": ShopSetting("", "who answers for the data with the shop (GDPR art. 26); empty = nobody"),
    "representative": ShopSetting("", "who speaks for a controller outside the Union (GDPR art. 27); empty = nobody"),
    "officer": ShopSetting("", "how to reach the data protection officer (GDPR art. 37); empty = there is none"),
    "recipients": ShopSetting("", "who else gets customers' data, such as the bookkeeper, one a line; empty = nobody"),
    "outside": ShopSetting(
        "", "what goes to which third country or international organisation, under which safeguard; empty = nothing"
    ),
    "security": ShopSetting("", "what keeps the data safe beside the program, such as locks and updates, one a line"),
}


@dataclass(frozen=True, slots=True)
class Shop:
    """One shop as it is set today."""

    id: str
    name: str
    address: str
    phone: str
    email: str
    bell_phone: str
    zone: str
    region: str
    language: str
    currency: str
    slot_minutes: int
    lead_minutes: int
    horizon_days: int
    holidays_of: str
    reminder_hours: int
    missed_notes: int
    collection_days: tuple[int, ...]
    review_days: int
    all_well_days: int
    forget_notice_days: int
    telling_hours: str
    long_past_hours: int
    question_days: int
    alarm_minutes: int
    sms_part_price: str
    proving_minutes: int
    promise_level: int
    promise_tick: int
    promise_warn: int
    promise_rule: str
    counter_people: int
    code_above: int
    hold_hours: int
    pass_days: int
    controller: str
    authority: str
    joint_controller: str
    representative: str
    officer: str
    recipients: str
    outside: str
    security: str


def build_shop(shop_id: str, values: Mapping[str, Any]) -> Shop:
    """A shop from its stored settings; anything not stored has its default."""
    whole = {key: values.get(key, setting.default) for key, setting in SHOP_SETTINGS.items()}
    whole["collection_days"] = tuple(whole["collection_days"])
    return Shop(id=shop_id, **whole)


# Texts of several lines; every other one is a single line, for it ends up in headers and titles.
_BLOCKS = (
    "address", "controller", "authority", "joint_controller", "representative", "officer", "recipients", "outside",
    "security",
)  # fmt: skip


def check_setting(key: str, value: Any) -> Any:
    """The value in the right type; raises Invalid for an unknown key or an unfit value."""
    if key in MOVED:
        raise Invalid(
            f"{key!r} is a rule of keeping now", f"Use: shelfbell keep set {MOVED[key]} P90D (any period).", field=key
        )
    if key not in SHOP_SETTINGS:
        raise Invalid(f"{key!r} is no shop setting", f"Use one of: {', '.join(SHOP_SETTINGS)}.", field=key)
    default, most = SHOP_SETTINGS[key].default, SHOP_SETTINGS[key].most
    try:
        if isinstance(default, int):
            return _whole_number(value, most=most)
        if isinstance(default, list):
            parts = value.split(",") if isinstance(value, str) else value
            return [_whole_number(part, most=most) for part in parts]
    except (TypeError, ValueError):
        raise Invalid(
            f"{key} needs whole numbers from 0 to {most}, not {str(value)[:40]!r}", "Write digits only.", field=key
        ) from None
    clean = clean_block if key in _BLOCKS else clean_line
    return clean(str(value), field=key, limit=most)


def _whole_number(value: Any, *, most: int) -> int:
    number = int(str(value).strip())
    if not 0 <= number <= most:
        raise ValueError
    return number
