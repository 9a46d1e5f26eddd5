"""What is done with people's data, as words: the facts of core/processing in the keys of two pages (render/shape)."""

from __future__ import annotations

import re
from typing import Any

from notify.core.contacts import show_phone
from notify.core.processing import Life, Processing, Recipient
from notify.core.retention import DATA_CLASSES
from notify.render.dates import say_date
from notify.render.keeping_says import after_handback, counted
from notify.render.words import Language

_LINK = re.compile(r"https?://[^\s\"'<>\\]+")
_PERIODS = {
    "delegate": "delegate", "agreed": "consent_record", "requests": "request_record",
    "looks": "access_log", "strangers": "stranger", "backups": "backup", "key_backups": "key_backup",
}  # fmt: skip


def privacy_facts(known: Processing, words: Language, said: Language) -> dict[str, Any]:
    """The keys of shape.privacy_shape(); what no setting knows stays empty and its sentence says so.

    `words` are those of the customer's pages, `said` those that papers and messages share with them.
    """
    shop, lives = known.shop, {one.data_class: one for one in known.lives()}
    periods = {name: counted(lives[code], said) if code in lives else "" for name, code in _PERIODS.items()}
    periods["contact"] = after_handback(lives["contact_card"], said)
    review = counted(Life("", f"P{shop.review_days}D", "event", "", None), said) if shop.review_days else ""
    return {
        "shop": _controller(known), "joint": shop.joint_controller, "officer": shop.officer,
        "providers": recipients(known, words), "outside": shop.outside,
        "periods": {**periods, "review": review, "records": ""},
        "consents": _uses(known, words), "sources": list(known.sources), "authority": _authority(shop.authority),
        "by_page": "yes" if known.has_claim_pages else "", "updated": "",
    }  # fmt: skip


def record_facts(known: Processing, words: Language, said: Language) -> dict[str, Any]:
    """The keys of shape.record_shape(): the record of processing, GDPR art. 30(1); words as for privacy_facts."""
    shop = known.shop
    return {
        "shop": _controller(known), "asks_address": "" if shop.controller or shop.address else "yes",
        "joint": shop.joint_controller, "officer": shop.officer,
        "providers": recipients(known, words), "outside": shop.outside, "uses": _uses(known, words),
        "sources": list(known.sources), "lives": [_row(one, words, said) for one in known.lives()],
        "measures": [words(f"measure.{code}") for code in known.measures],
        "own_measures": _lines(shop.security), "updated": say_date(known.today, language=words.code),
    }  # fmt: skip


def recipients(known: Processing, words: Language) -> list[str]:
    """Whoever gets to see something, a sentence each: first those that the program knows, then what the shop says."""
    return [_recipient(one, words) for one in known.recipients] + _lines(known.shop.recipients)


def _recipient(one: Recipient, words: Language) -> str:
    return words(f"provider.{one.kind}", name=one.name) if one.name else words(f"provider.{one.kind}")


def _controller(known: Processing) -> dict[str, str]:
    shop = known.shop
    own = {
        "name": shop.name, "address": shop.address, "phone": show_phone(shop.phone), "email": shop.email,
        "representative": shop.representative,
    }  # fmt: skip
    return own | ({"name": shop.controller, "address": ""} if shop.controller else {})


def _authority(said: str) -> dict[str, str]:
    link = _LINK.search(said)
    return {"name": _LINK.sub("", said).strip(" ,;()") or said, "url": link[0].rstrip(".,;)") if link else ""}


def _row(life: Life, words: Language, said: Language) -> dict[str, str]:
    checked = say_date(life.checked_on, language=words.code) if life.checked_on else ""
    return {
        "what": words(f"life.{life.data_class}"), "period": counted(life, said),
        "since": words(f"since.{life.data_class}"), "source": _source(life, words), "checked": checked,
    }  # fmt: skip


def _source(life: Life, words: Language) -> str:
    """Ours in the reader's language; what the shop gave itself as it wrote it."""
    known = DATA_CLASSES.get(life.data_class)
    return words(f"source.{life.data_class}") if known and life.source == known.source else life.source


def _uses(known: Processing, words: Language) -> list[str]:
    return [words(f"consent.{purpose}") for purpose in known.uses]


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
