"""Invented contexts for the claim page, in every language, as the server will hand them to the templates."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

Page = dict[str, Any]
WORDS = Path(__file__).parents[2] / "templates" / "words"
TOKEN = "c3f5h7k9b2d4g6j8n3p5r7t9v2x4"
CLAIM = f"/c/{TOKEN}"
AFTER = {
    "en": "90 days after the last device is handed back",
    "de": "90 Tage nach der Rückgabe des letzten Geräts",
    "it": "90 giorni dopo la riconsegna dell'ultimo apparecchio",
}


@cache
def words(language: str) -> dict[str, dict[str, str]]:
    """The words of the customer's pages, as the server loads them."""
    return tomllib.loads((WORDS / f"page.{language}.toml").read_text(encoding="utf-8"))


def base(language: str, **more: Any) -> Page:
    """What base_customer.html asks for, with the page's own keys."""
    hours = {
        "en": ["Monday to Friday 10:00 to 18:30, Saturday 10:00 to 14:00"],
        "de": ["Montag bis Freitag 10:00 bis 18:30 Uhr, Samstag 10:00 bis 14:00 Uhr"],
        "it": ["da lunedì a venerdì: 10:00-18:30", "sabato: 10:00-14:00"],
    }
    return {
        "language": language,
        "w": words(language),
        "shop": {
            "name": "Tramstop Bench",
            "phone": "+44 7700 900 100",
            "phone_href": "tel:+447700900100",
            "email": "bench@tramstop.example.org",
            "address": "4 Ropewalk, Quillhaven",
            "hours": hours[language],
        },
        "notice": "",
        "privacy_href": f"/privacy?language={language}",
        "languages": [
            {"code": "en", "label": "English", "here": language == "en"},
            {"code": "de", "label": "Deutsch", "here": language == "de"},
            {"code": "it", "label": "Italiano", "here": language == "it"},
        ],
        "language_action": f"{CLAIM}/language",
        "csrf": "example-csrf",
        **more,
    }


def _passes(language: str) -> Page:
    """One that counts, and one whose code is still to be typed."""
    w = words(language)["pass"]
    when = {"en": "Wednesday, 9 December", "de": "Mittwoch, 9. Dezember", "it": "mercoledì 9 dicembre"}[language]
    return {
        "open": [{"id": "31", "sentence": w["open"].format(name="M•• O••", when=when)}],
        "asked": w["asked"].format(name="N•• Q••", address="p••@example.org"), "may_ask": True,
        "ask_action": f"{CLAIM}/passes", "confirm_action": f"{CLAIM}/passes/confirm",
        "revoke_action": f"{CLAIM}/passes/revoke",
    }  # fmt: skip


def _pass_page(language: str, *, given: bool) -> Page:
    w = words(language)
    when = w["date"]["at"].format(day={"en": "Wednesday, 9 December", "de": "Mittwoch, 9. Dezember",
                                       "it": "mercoledì 9 dicembre"}[language], time="17:02")  # fmt: skip
    link = "https://shelf.example.org/p/bcdfghjklnprstvx"
    return base(
        language, numbers=["K7M-2X9T", "T3N-6W8L"], letters="bcdf-ghjk-lnpr-stvx", language_action="",
        until=w["pass"]["page_until"].format(when=when), qr_src="/p/bcdfghjklnprstvx/qr.svg",
        link=link if given else "", mail_href="mailto:?body=x" if given else "",
        text_href="sms:?body=x" if given else "",
    )  # fmt: skip


def _claim(language: str, **more: Any) -> Page:
    w = words(language)
    purposes = w["purpose"]["repair"] + w["purpose"]["joined"] + w["purpose"]["pickup"]
    return base(
        language,
        **{
            "number": "K7M-2X9T",
            "mark_name": "on_bench",
            "sentence": w["says"]["on_bench"].format(your_device=w["your_device"]["radio"]),
            "expect": "",
            "cautions": [],
            "devices": [],
            "questions": [],
            "answered": [],
            "pickup": None,
            "show_code": False,
            "qr_src": f"{CLAIM}/qr.svg",
            "answer_action": f"{CLAIM}/answer",
            "cancel_action": f"{CLAIM}/cancel",
            "stop_action": f"{CLAIM}/stop",
            "story": [],
            "passes": _passes(language),
            "collectors": [
                w["claim"]["collect_holder"],
                w["claim"]["collect_named"].format(name="Mi•• Ol••••"),
            ],
            "contacts": [
                {
                    "id": "1",
                    "sentence": w["claim"]["reach_email"].format(address="p••@example.org", purposes=purposes),
                    "can_stop": True,
                    "can_stop_asking": True,
                },
                {
                    "id": "2",
                    "sentence": w["claim"]["reach_sms"].format(
                        address="+44 •••• ••• 123", purposes=w["purpose"]["pickup"]
                    ),
                    "can_stop": True,
                    "can_stop_asking": False,
                },
            ],
            "rights_href": f"{CLAIM}/rights",
            "known": w["known"]["when_open"].format(after=AFTER[language]),
            **more,
        },
    )


def _story(language: str, *steps: tuple[str, str]) -> list[dict[str, str]]:
    w = words(language)
    return [{"when": when, "sentence": w["story"].get(key, key)} for when, key in steps]


def _bench_de() -> Page:
    w = words("de")
    return _claim(
        "de",
        expect=w["says"]["expect"].format(when="am Donnerstag, 26. November, bis 11:30 Uhr"),
        story=_story(
            "de",
            ("heute, 9:12 Uhr", "on_bench"),
            ("heute, 9:04 Uhr", "part_arrived"),
            ("gestern, 17:50 Uhr", "part_ordered"),
            ("gestern, 17:41 Uhr", "taken_in"),
        ),
        notice=w["notice"]["answered"],
        answered=[
            {
                "id": "7",
                "sentence": w["story"]["question_answered"].format(answer="Ja, das einbauen"),
                "can_take_back": True,
            }
        ],
    )


def _question() -> Page:
    w = words("en")
    return _claim(
        "en",
        mark_name="question",
        sentence=w["says"]["waiting_customer"].format(your_device="Your radio"),
        expect=w["says"]["expect_answer"],
        questions=[
            {
                "id": "7",
                "device": "Harbour 3 portable radio",
                "wording": "The case came in grey instead of green. Shall we fit the grey one?",
                "price": "£38.00",
                "until": "Please answer by Friday, 27 November, 18:30. After that we call you.",
                "options": [
                    {"code": "yes", "label": "Yes, fit the grey case"},
                    {"code": "wait", "label": "No, wait for the green one"},
                    {"code": "give_back", "label": "No, give it back unrepaired"},
                ],
                "code_action": "",
            }
        ],
        story=_story(
            "en",
            ("today, 9:06", "question_asked"),
            ("today, 9:04", "part_arrived"),
            ("yesterday, 17:50", "part_ordered"),
            ("yesterday, 17:41", "taken_in"),
        ),
    )


def _ready(language: str, state: str) -> Page:
    w = words(language)
    day = {"en": "Thursday, 26 November", "de": "Donnerstag, 26. November", "it": "giovedì 26 novembre"}[language]
    when = w["date"]["at"].format(day=day, time="17:30")
    sentence = w["says"]["pickup_open"]
    if state == "booked":
        sentence = w["says"]["pickup_booked"].format(when=when)
    return _claim(
        language,
        mark_name="on_shelf",
        sentence=w["says"]["on_shelf_repaired"].format(your_device=w["your_device"]["radio"]),
        pickup={
            "state": state,
            "sentence": sentence,
            "slots_href": f"{CLAIM}/slots",
            "once": "b7:0",
            "place": "Tramstop Bench, 4 Ropewalk, Quillhaven",
            "calendar_href": f"{CLAIM}/pickup.ics" if state == "booked" else "",
        },
        show_code=True,
        notice=w["notice"]["booked"] if state == "booked" else "",
        story=_story(
            language,
            (w["date"]["stamp_today"].format(time="11:02"), "on_shelf_repaired"),
            (w["date"]["stamp_today"].format(time="9:12"), "on_bench"),
            (w["date"]["stamp_yesterday"].format(time="17:41"), "taken_in"),
        ),
    )


def _two_devices() -> Page:
    w = words("en")
    return _claim(
        "en",
        mark_name="on_shelf",
        sentence=w["says"]["some_ready"].format(ready=1, total=2),
        cautions=["Please do not charge or post it.", "Its battery is swollen: do not press or pierce it."],
        devices=[
            {"number": "K7M-2X9T", "mark": "on_shelf", "sentence": "Your camera is repaired and ready for you."},
            {"number": "P4H-9C3R", "mark": "part", "sentence": "Your e-reader is waiting for a part."},
        ],
        pickup={
            "state": "walk_in",
            "sentence": w["says"]["pickup_walk_in"],
            "slots_href": "",
            "once": "",
            "place": "",
            "calendar_href": "",
        },
        show_code=True,
        contacts=[],
        story=_story("en", ("today, 11:02", "on_shelf_repaired"), ("Monday, 23 November, 17:20", "taken_in")),
    )


def _hidden_price(language: str) -> Page:
    """A price above the shop's limit: shown after a code to the stored contact."""
    w = words(language)
    said = w["claim"]["price_by_code"].format(address="+44 •••• ••• 123")
    return _claim(
        language,
        mark_name="question",
        sentence=w["says"]["waiting_customer"].format(your_device=w["your_device"]["camera"]),
        expect=w["says"]["expect_answer"],
        questions=[{"id": "7", "device": "", "wording": said, "price": "", "options": [],
                    "until": w["claim"]["until"].format(when="26.11., 18:30"), "code_action": f"{CLAIM}/send-code"}],
    )  # fmt: skip


def _code(language: str, *, problem: str = "", lost: bool = False) -> Page:
    w = words(language)
    sent = w["lost"]["perhaps_sent"].format(number="K7M-2X9T")
    told = sent if lost else w["code"]["sent_to"].format(address="p••@example.org")
    return base(
        language, language_action="", title=w["code"]["title"], sentence=told, label=w["code"]["label"],
        problem=w["code"][problem] if problem else "", number="K7M2X9T" if lost else "",
        check_action="/lost/code" if lost else f"{CLAIM}/code", send_action="/lost" if lost else f"{CLAIM}/send-code",
        back_href="/lost" if lost else CLAIM,
        back_label=w["lost"]["other_number"] if lost else w["page"]["back"],
    )  # fmt: skip


def _lost(language: str, *, problem: str = "") -> Page:
    said = words(language)["lost"][problem] if problem else ""
    return base(language, language_action="", typed="K7M-2X9" if problem else "", problem=said,
                action=f"/lost?language={language}")  # fmt: skip


def claim_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    return {
        "claim_question": ("claim.html", _question()),
        "claim_bench_de": ("claim.html", _bench_de()),
        "claim_ready": ("claim.html", _ready("en", "open")),
        "claim_booked_de": ("claim.html", _ready("de", "booked")),
        "claim_booked_it": ("claim.html", _ready("it", "booked")),
        "pass_to_send": ("pass.html", _pass_page("en", given=True)),
        "pass_to_send_de": ("pass.html", _pass_page("de", given=True)),
        "pass_to_show_it": ("pass.html", _pass_page("it", given=False)),
        "claim_hidden_price": ("claim.html", _hidden_price("en")),
        "claim_hidden_price_it": ("claim.html", _hidden_price("it")),
        "code": ("code.html", _code("en")),
        "code_wrong_de": ("code.html", _code("de", problem="wrong")),
        "code_lost_it": ("code.html", _code("it", lost=True)),
        "lost": ("lost.html", _lost("en")),
        "lost_wrong_de": ("lost.html", _lost("de", problem="wrong_number")),
        "claim_two_devices": ("claim.html", _two_devices()),
    }
