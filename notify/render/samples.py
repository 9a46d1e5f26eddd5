"""Facts made up for one message, so that any text can be filled and looked at before a customer gets it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from notify.core.money import show_amount
from notify.core.notices import CONSENT_PURPOSES, NOTICES
from notify.core.questions import ANSWERS
from notify.render.dates import say_day, say_time
from notify.render.shape import message_shape

Words = Callable[..., str]
# Reserved for documentation: Ofcom's drama numbers, RFC 2606.
PHONE, SITE = "+44 7700 900123", "https://bench.example.org"
LINK = f"{SITE}/c/k7d3h5rt2x8cvb4n6gpj9f1s3u"
STOP_LINK = f"{SITE}/u/J3kq0PZ7TtWm5yXb8nVc2rLdA1sGfHjUoEiB"
_WHY = {
    "promise_changed": "why.part_late",
    "called_back": "why.fault_seen_again",
    "pickup_moved": "why.closed",
    "pickup_cancelled": "why.you_asked",
    "call_needed": "why_call.given_up",
    "promise_threatened_shop": "threat.part_late",
}
_PHASE = {
    "checked_in": "taken_in",
    "part_ordered": "in_line",
    "part_arrived": "in_line",
    "part_arrived_shop": "in_line",
    "part_late_shop": "in_line",
    "hold_review_shop": "handed_back",
    "promise_changed": "in_line",
    "promise_threatened_shop": "in_line",
    "question": "inspecting",
    "called_back": "in_line",
    "handed_back": "handed_back",
    "all_well": "handed_back",
    "forget_soon": "handed_back",
}
_SLOTLESS = frozenset({"ready", "collection_reminder"})  # a place in a slot is told only once somebody has one


@dataclass(frozen=True, slots=True)
class Variant:
    """What may be special about a message: a battery flag, no public address, several devices of one visit."""

    battery: bool = False
    no_link: bool = False
    several: bool = False


@dataclass(frozen=True, slots=True)
class SampleShop:
    """The shop as messages show it (`shown`: the keys of the template's `shop`), its zone and its currency."""

    shown: Mapping[str, str]
    zone: str
    currency: str


def sample_facts(
    notice: str, *, language: str, words: Words, invented: Words, shop: SampleShop, now: datetime, variant: Variant
) -> dict[str, Any]:
    """The whole context of a message of this notice, in the language of `words`.

    `invented` gives the words of `sample.<language>.toml`; times lie a day after `now` (aware).
    """
    day, time = _say(now + timedelta(days=1), shop, language)
    old_day, old_time = _say(now, shop, language)
    price = show_amount(4500, currency=shop.currency, language=language)
    flags = ("swollen",) if variant.battery else ()
    return {
        **_empty(),
        "language": language,
        "shop": dict(shop.shown) | ({"url": ""} if variant.no_link else {}),
        "person": {"name": invented("fact.person")},
        "claim_link": "" if variant.no_link else LINK,
        "privacy_link": "" if variant.no_link else f"{SITE}/privacy?language={language}",
        "devices": [_device(n, notice, words, invented) for n in range(_how_many(notice, variant))],
        "entry_stays": False,
        "stop_link": STOP_LINK if NOTICES[notice].purpose in CONSENT_PURPOSES and not variant.no_link else "",
        "number": "K7M-2X9T",
        "device": invented("device.first"),
        "fault": invented("fact.fault"),
        "price": price,
        "outcome": "repaired" if _phase(notice) in ("on_shelf", "handed_back") else "",
        "promise": words("said.promise_by", day=day, time=time),
        "expected": words("said.promise_by", day=day, time=time),
        "old_promise": words("said.promise_by", day=old_day, time=old_time),
        "why": words(_WHY[notice]) if notice in _WHY else "",
        "bench": invented("fact.bench"),
        "sentence": invented("fact.sentence"),
        "phone": PHONE,
        "code": "1234 5678",
        "days_waiting": 9,
        "safety": [words(f"safety.{flag}") for flag in flags],
        "caution_lines": [words(f"caution.{flag}") for flag in flags],
        "question": _question(words, invented, price=price, until=words("said.until", day=day, time=time)),
        "answer": {"code": "take_it", "label": words("answer.take_it"), "by": words("answered_by.claim_page")},
        "part": {"name": invented("fact.part"), "supplier": invented("fact.supplier"), "due": day, "label": "D41"},
        "slot": None if notice in _SLOTLESS else _slot(now, shop, language),
        "hanging": [{"number": "K7M-2X9T", "promise": words("said.promise_by", day=day, time=time)}],
        **_reply(invented),
        "request": _about_data(notice, words, day),
    }


def _about_data(notice: str, words: Callable[..., str], day: str) -> dict[str, str]:
    if notice == "forget_soon":
        return {"first": words("forget_soon.first", day=day), "more": words("forget_soon.more")}
    return {"first": words("request_news.access"), "more": words("request_news.by", day=day)}


def _empty() -> dict[str, Any]:
    """Every key a template may use, empty: also those that only some notices fill."""
    return {key: ([] if isinstance(shape, list) else shape) for key, shape in message_shape().items()}


def _how_many(notice: str, variant: Variant) -> int:
    """A message about one ticket speaks of one device, however many were handed in with it."""
    return 2 if variant.several and NOTICES[notice].about == "visit" else 1


def _say(moment: datetime, shop: SampleShop, language: str) -> tuple[str, str]:
    zone = shop.zone
    return say_day(moment, zone=zone, language=language), say_time(moment, zone=zone, language=language)


def _device(number: int, notice: str, words: Words, invented: Words) -> dict[str, str]:
    return {
        "number": ("K7M-2X9T", "P4R-8D3H")[number],
        "device": invented(("device.first", "device.second")[number]),
        "device_class_words": words(("device_class.camera", "device_class.radio")[number]),
        "phase_sentence": words(f"phase.{_phase(notice)}"),
        "shelf": ("B2", "B3")[number],
    }


def _phase(notice: str) -> str:
    return _PHASE.get(notice, "on_shelf")


def _question(words: Words, invented: Words, *, price: str, until: str) -> dict[str, Any]:
    kind = "substitute_part"
    options = [{"code": code, "label": words(f"answer.{code}")} for code in ANSWERS[kind]]
    return {"kind": kind, "wording": invented("fact.wording"), "price": price, "options": options, "until": until}


def _slot(now: datetime, shop: SampleShop, language: str) -> dict[str, str]:
    start = now + timedelta(days=1)
    day, time = _say(start, shop, language)
    end = say_time(start + timedelta(minutes=15), zone=shop.zone, language=language)
    place = ", ".join(text for text in (shop.shown["name"], shop.shown["address"]) if text)
    return {"day": day, "time": time, "end": end, "place": place}


def _reply(invented: Words) -> dict[str, Any]:
    """What somebody wrote back, where the templates know of it."""
    shape = message_shape().get("reply")
    if shape is None:
        return {}
    return {"reply": {key: invented("fact.reply") if key == "text" else "" for key in shape} if shape else
            invented("fact.reply")}  # fmt: skip
