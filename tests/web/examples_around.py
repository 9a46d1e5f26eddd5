"""Invented contexts for the pages around the claim page: pickup times, data protection, messages, errors."""

from __future__ import annotations

from tests.web.examples_claim import CLAIM, Page, base, words


def _day(label: str, free: str, times: list[str], *, date: str, is_open: bool) -> Page:
    return {
        "label": label,
        "free": free,
        "open": is_open,
        "times": [{"value": f"{date}T{time}/0", "label": time, "last": index == 2} for index, time in enumerate(times)],
    }


def _slots() -> Page:
    return base(
        "en",
        number="K7M-2X9T",
        moving="",
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
    return base(
        "en",
        language_action="",
        responsible=["Tramstop Bench, Ada Quill", "4 Ropewalk, Quillhaven", "bench@tramstop.example.org"],
        uses=[
            {
                "title": "Name, telephone number, e-mail address",
                "text": "To tell you how the repair goes and to hand the device to the right person. "
                "Ground: the repair contract (GDPR article 6(1)(b)); pickup reminders: your consent (article 6(1)(a)).",
            },
            {"title": "What you told us about the device", "text": "To repair it. Ground: the repair contract."},
        ],
        receivers=["The provider that carries our e-mail sees your address and the message."],
        periods=[
            "We forget who you are 90 days after the device is handed back. "
            "Invoices are kept as long as tax law demands, outside this program."
        ],
        language_links=[{"label": "Deutsch", "code": "de", "href": "/privacy?language=de"}],
    )


def _said(kind: str, language: str) -> Page:
    w = words(language)["message"]
    return base(
        language,
        language_action="",
        title=w[f"{kind}_title"],
        sentence=w[kind],
        next_sentence=w[f"{kind}_next"],
        back_href="",
    )


def _error() -> Page:
    w = words("en")["error"]
    return base(
        "en", language_action="", title=w["title_stale"], sentence=w["stale"], advice="", back_href=CLAIM,
        back_label=words("en")["page"]["back"],
    )  # fmt: skip


def around_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    return {
        "slots": ("slots.html", _slots()),
        "slots_none": ("slots.html", {**_slots(), "days": []}),
        "claim_unknown": ("claim_message.html", _said("unknown", "en")),
        "claim_expired_de": ("claim_message.html", _said("expired", "de")),
        "privacy": ("privacy.html", _privacy()),
        "error": ("error.html", _error()),
    }
