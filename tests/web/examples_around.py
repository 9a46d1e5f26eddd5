"""Invented contexts for the pages around the claim page: pickup times, data protection, messages, errors."""

from __future__ import annotations

from markupsafe import Markup

from notify.render.words import Words
from tests.web.examples_claim import CLAIM, WORDS, Page, base, words
from tests.web.examples_shop import staff_base


def _day(label: str, free: str, times: list[str], *, date: str, is_open: bool) -> Page:
    parts = {
        "In the morning": [t for t in times if t < "12:00"],
        "In the afternoon": [t for t in times if t >= "12:00"],
    }
    return {
        "label": label,
        "free": free,
        "open": is_open,
        "parts": [
            {
                "label": part,
                "times": [
                    {"value": f"{date}T{time}/0", "label": time, "rest": part.lower(), "last": time == times[2],
                     "note": "everything from here on" if time == "10:15" else ""}
                    for time in found
                ],
            }
            for part, found in parts.items()
            if found
        ],
    }  # fmt: skip


def _slots() -> Page:
    return base(
        "en",
        number="K7M-2X9T",
        moving="",
        is_ready=True,
        once="example-once",
        soonest="The soonest: tomorrow, 11:30 in the morning.",
        together="",
        full="Fully booked: Saturday, 28 November; Monday, 30 November.",
        back_href=CLAIM,
        slot_action=f"{CLAIM}/book",
        days=[
            _day(
                "Thursday, 26 November",
                "9 times free",
                ["11:30", "11:45", "12:15", "14:00", "14:15", "15:30", "16:45", "17:45", "18:15"],
                date="2026-11-26",
                is_open=True,
            ),
            _day(
                "Friday, 27 November",
                "4 times free",
                ["10:00", "10:15", "12:00", "17:30"],
                date="2026-11-27",
                is_open=True,
            ),
            _day(
                "Saturday, 28 November", "3 times free", ["10:30", "12:00", "13:45"], date="2026-11-28", is_open=False
            ),
        ],
    )


def _privacy() -> Page:
    facts = {
        "shop": {"name": "Tramstop Bench, Ada Quill", "address": "4 Ropewalk, Quillhaven", "phone": "+44 7700 900100",
                 "email": "bench@tramstop.example.org", "representative": ""},
        "joint": "", "officer": "",
        "providers": ["mail.example.net carries our e-mail."], "outside": "", "consents": [],
        "sources": ["pier"], "by_page": "yes",
        "periods": {"contact": "90 days", "delegate": "7 days", "review": "365 days", "records": "",
                    "backups": "35 days",
                    "key_backups": "7 days", "agreed": "3 years from the end of the year", "looks": "1 year",
                    "requests": "3 years from the end of the year", "strangers": "30 days"},
        "authority": {"name": "Harbour Data Office", "url": "https://data.example.org"}, "updated": "",
    }  # fmt: skip
    return base(
        "en",
        language_action="",
        shop_links=[],
        fragment=Markup(Words(WORDS).privacy("en", facts)),
        language_links=[
            {"label": label, "code": code, "href": f"/privacy?language={code}"}
            for code, label in (("de", "Deutsch"), ("it", "Italiano"))
        ],
    )


def _privacy_of_which() -> Page:
    shops = (("Tramstop Bench", "0a1b2c3d"), ("Pier Bench", "4e5f6a7b"))
    links = [{"label": name, "href": f"/privacy?language=de&shop={code}"} for name, code in shops]
    whole = base("de", language_action="", shop_links=links, fragment="", language_links=[])
    return {**whole, "shop": {**whole["shop"], "name": "Tramstop Bench · Pier Bench", "phone": "", "phone_href": "",
                              "address": "", "hours": []}}  # fmt: skip


def _said(kind: str, language: str) -> Page:
    w = words(language)["message"]
    return base(
        language,
        language_action="",
        title=w[f"{kind}_title"],
        sentence=w[kind],
        next_sentence=w[f"{kind}_next"],
        back_href="",
        lost_href=f"/lost?language={language}" if kind == "unknown" else "",
    )


def _stop_asking(channel: str, language: str) -> Page:
    w = words(language)
    return base(
        language, language_action="", title=w["message"]["stop_asking_title"],
        sentence=w["message"][f"stop_asking_{channel}"], action="/u/J3kq0PZ7TtWm5yXb8nVc2rLdA1sGfHjUoEiB", more="",
        buttons=[{"name": "List-Unsubscribe", "value": "One-Click", "label": w["claim"]["stop_asking"]},
                 {"name": "everything", "value": "yes", "label": w["message"][f"stop_everything_{channel}"]}],
    )  # fmt: skip


def _error() -> Page:
    w = words("en")["error"]
    return base(
        "en", language_action="", title=w["title_stale"], sentence=w["stale"], advice="", back_href=CLAIM,
        back_label=words("en")["page"]["back"],
    )  # fmt: skip


def _looks() -> Page:
    one = {"when": "today, 09:12", "who": "Ada", "place": "on the ticket", "times": "once", "numbers": "K7M-2X9T"}
    script = {"when": "yesterday, 17:40", "who": "Till script", "place": "by the API", "times": "3 times"}
    return staff_base(
        "settings", lines=[one, script | {"numbers": "no ticket"}], newer_href="", older_href="/contact-reads?page=2"
    )


_ERASED = {"href": "/held/erasures/1", "when": "Today at 02:10", "why": "Their time was over", "proved": "proved"}
_ERASED_ONE = {
    "record": "1", "when": "Today at 02:10", "why": "Their time was over", "counts": [("Messages", "4")],
    "proved": "The keys are destroyed.", "backups": ["The program makes no backups here."], "out_of_reach": ["paper"],
}  # fmt: skip


def around_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    return {
        "contact_reads": ("contact_reads.html", _looks()),
        "contact_reads_none": ("contact_reads.html", {**_looks(), "lines": [], "older_href": ""}),
        "erasures": ("erasures.html", staff_base("", one=None, lines=[_ERASED])),
        "erasures_none": ("erasures.html", staff_base("", one=None, lines=[])),
        "erasure": ("erasures.html", staff_base("", one=_ERASED_ONE, lines=[])),
        "slots": ("slots.html", _slots()),
        "slots_together": (
            "slots.html",
            {**_slots(), "soonest": "", "together": words("en")["slots"]["together"].format(when="tomorrow by 9:30")},
        ),
        "slots_none": ("slots.html", {**_slots(), "days": []}),
        "claim_unknown": ("claim_message.html", _said("unknown", "en")),
        "claim_expired_de": ("claim_message.html", _said("expired", "de")),
        "claim_unknown_it": ("claim_message.html", _said("unknown", "it")),
        "stop_asking": ("stop_asking.html", _stop_asking("email", "en")),
        "stop_asking_de": ("stop_asking.html", _stop_asking("sms", "de")),
        "stopped_asking_it": ("claim_message.html", _said("stopped_asking", "it")),
        "nothing_kept": ("claim_message.html", _said("nothing_kept", "en")),
        "privacy": ("privacy.html", _privacy()),
        "privacy_of_which": ("privacy.html", _privacy_of_which()),
        "error": ("error.html", _error()),
        "unavailable": ("unavailable.html", {"language": "de", "w": words("de")["error"]}),
    }
