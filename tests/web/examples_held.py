"""Invented contexts for the owner's view of what is kept, and for the record of processing."""

# ruff: noqa: E501 (rows of example data read best as rows)

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from notify.render.words import Words
from tests.web.examples_claim import WORDS, Page
from tests.web.examples_shop import staff_base

SAID = dict.fromkeys(
    ("controller", "joint_controller", "representative", "officer", "recipients", "outside", "security", "authority"),
    "",
)


def _chart(name: str, alt: str) -> Page:
    return {"src": f"/held/{name}.svg", "dark_src": f"/held/{name}.svg?shade=dark", "alt": alt}


def _held(**more: Any) -> Page:
    return staff_base("", **{
        "sentence": "33 people are held with name or contact, and two go within a week.",
        "links": [{"href": "/held/record", "label": "Record of processing"}, {"href": "/privacy", "label": "What customers read"}],
        "age_heads": ["To a month", "To 3 months", "To a year", "To 3 years", "Older"],
        "ages": [("Customers, with name and contacts", "33", "29", "4", "0", "0", "0"),
                 ("Names of whoever collected for somebody", "1", "1", "0", "0", "0", "0"),
                 ("Addresses that want nothing more", "2", "1", "1", "0", "0", "0")],
        "periods": [("Customers, with name and contacts", "90 days", "No law names a figure; GDPR art. 5(1)(e): no longer than needed; checked on 28 November 2026."),
                    ("Lines of consent", "3 years, from the end of the year", "The shop's own choice; nobody has checked it.")],
        "not_advice": "This is not legal advice: check your local law.",
        "ahead": [("Tonight, since their time is over", "1"), ("In the next 7 days", "2"), ("No day yet: a device is here, or a pass can be used", "24")],
        "weeks": [("0: from 28 November 2026", "2"), ("12: from 20 February 2027", "8")],
        "stays": [{"number": "K7M-2X9T", "href": "/tickets/12", "sentence": "Something is in dispute and a repair is not paid. Their time was over on 20 November 2026. To be looked at again on 3 January 2027."},
                  {"number": "", "href": "", "sentence": "There is a legal claim."}],
        "more_stay": "Three more stay.",
        "consents": [("Pickup times and reminders", "e-mail", "20", "1"), ("One question, some days after the device went home, whether all is well", "text message", "4", "3")],
        "suppressed": "One address and one number are never used, even if typed in anew, until the person agrees again.",
        "asked": [{"number": "K7M-2X9T", "href": "/requests/1", "sentence": "A copy of their data: 12 days left.", "late": False},
                  {"number": "W8L-5T3N", "href": "/requests/2", "sentence": "An erasure: two days too late.", "late": True}],
        "last_run": "The nightly run was yesterday at 3:10. Everything that was erased is proved gone from the files.",
        "erasures": [("Yesterday at 3:10", "Their time was over", "14 rows", "yesterday at 3:10"), ("On Tuesday, 24 November, at 9:12", "It was asked for", "9 rows", "not yet")],
        "backups": "The last good backup is from yesterday, 3:40, and was tried by opening it again.",
        "keys": [("Opens the keys of people", "113 days"), ("Finds people by phone or e-mail", "not known")],
        "charts": {name: _chart(name, "Customers by how long they are known: 29 to a month, 4 to 3 months and 0 older.") for name in ("ages", "next", "consents")},
        **more,
    })  # fmt: skip


def record_facts(**more: Any) -> dict[str, Any]:
    """Words for every key of render/shape.record_shape()."""
    shop = {"name": "Tramstop Bench, Ada Quill", "address": "4 Ropewalk, Quillhaven", "phone": "+44 7700 900100",
            "email": "bench@tramstop.example.org", "representative": ""}  # fmt: skip
    lives = [
        {"what": "name and contacts", "period": "90 days", "since": "after the last device went home",
         "source": "no law names a figure", "checked": "28 November 2026"},
        {"what": "keyed fingerprints", "period": "no end by time", "since": "until the person agrees again", "source": "", "checked": ""},
    ]  # fmt: skip
    return {
        "shop": shop, "asks_address": "", "joint": "", "officer": "", "uses": ["Asking whether all is well."], "sources": ["pier"],
        "providers": ["Our e-mail is carried by mail.example.net."], "outside": "", "lives": lives,
        "measures": ["Names are encrypted."], "own_measures": [], "updated": "28 November 2026", **more,
    }  # fmt: skip


def _record(language: str, **more: Any) -> Page:
    others = [{"label": label, "code": code, "href": f"/held/record?language={code}"}
              for code, label in (("en", "English"), ("de", "Deutsch"), ("it", "Italiano")) if code != language]  # fmt: skip
    return staff_base("", **{
        "fragment": Markup(Words(WORDS).record(language, record_facts())), "language": language, "title": "Record of processing",
        "language_links": others, "said": SAID, **more,
    })  # fmt: skip


def held_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    wrong = [{"field": "record-officer", "text": "A line is longer than 500 signs. Write a shorter one."}]
    return {
        "held": ("held.html", _held()),
        "held_empty": (
            "held.html",
            _held(stays=[], more_stay="", consents=[], asked=[], erasures=[], weeks=[], keys=[]),
        ),
        "record": ("record.html", _record("en")),
        "record_de_wrong": ("record.html", _record("de", errors=wrong)),
    }
