"""Invented contexts for the pages of a shop's day: sign-in, day sheet, check-in, deliveries, pickups, calls."""

# ruff: noqa: E501 (rows of example data read best as rows)

from __future__ import annotations

from typing import Any

from notify.paths import templates_folder
from notify.render.words import Words
from tests.web import examples_ready as ready

WORDS = Words(templates_folder() / "words")
Page = dict[str, Any]

CAUTIONS = [
    "Keep it apart, on a surface that does not burn, away from other devices.",
    "Do not charge it, press it or open the battery. Do not post it.",
    "If it gets hot or smells, leave it alone and call the fire brigade.",
]


def staff_base(here: str, **more: Any) -> Page:
    """What base_staff.html asks for, with the page's own keys."""
    return {
        "csrf": "example-csrf",
        "shop_name": "Tramstop Bench",
        "staff": {"name": "Ada Quill", "role_words": "technician"},
        "here": here,
        "waiting": {"deliveries": 2, "calls": 1, "replies": 1},
        "scan_said": "",
        "notice": "",
        "undo": None,
        "errors": [],
        **more,
    }


def line(head: str, sentence: str, **more: Any) -> Page:
    """One line of a sheet, as _lines.html reads it."""
    return {
        "mark": "in_line", "clock": "", "number": "", "href": "", "head": head, "sentence": sentence, "place": "",
        "flag": "", "phone": "", "phone_href": "", "buttons": [], **more,
    }  # fmt: skip


def button(action: str, label: str, *, main: bool = False, **fields: str) -> Page:
    """One form with one button."""
    pairs = [{"name": name, "value": value} for name, value in fields.items()]
    return {"action": action, "label": label, "main": main, "fields": pairs}


def _move(label: str, to: str, *, main: bool = False) -> Page:
    return button("/tickets/12/move", label, main=main, to=to)


def _day() -> Page:
    return staff_base(
        "day",
        today="Thursday, 26 November",
        summary="One answer came in, a box waits to be unpacked, and three devices can go on the bench.",
        seen_at="9:24",
        paused=False,
        rang=[
            {"stamp": 12, "at": "9:24", "number": "K7M-2X9T", "href": "/tickets/12", "sentence": "The customer answered about the Harbour 3 radio."},
            {"stamp": 9, "at": "9:02", "number": "W8L-5T3N", "href": "/tickets/18", "sentence": "The customer chose a pickup time for the Otter 110 camera."},
        ],
        zone="Europe/London",
        bench_title="The bench, in order",
        notice="K7M-2X9T is on the bench.",
        undo={"action": "/tickets/12/undo", "event": "401", "label": "Undo, until 9:25"},
        answered=[
            line("Harbour 3 radio", "Yes, fit the grey case. Answered at 9:11.", mark="question", number="K7M-2X9T",
                 href="/tickets/12", place="shelf B3", buttons=[_move("Put in line", "in_line", main=True)]),
        ],
        replies=[
            line("Noor Vale", "Their calendar asks for another pickup time. Say yes or no. Their time is today at 11:45. They ask for "
                 "tomorrow at 16:00. No place is free then; these are the nearest.", mark="question", number="F7H-2C9R",
                 href="/visits/9", id="calendar-5",
                 buttons=[*(button("/calendar-answers/5", f"Move it to tomorrow, {at}", choice="take", back="/", slot=f"2026-11-27T{at}/0")
                            for at in ("15:30", "15:45", "16:15")),
                          button("/calendar-answers/5", "Say that it does not suit", choice="no", back="/")]),
            line("Sam Ferris, by e-mail", "9:02: “May my sister collect it on Friday?” They ask something.", mark="question",
                 number="W8L-5T3N", href="/tickets/18#replies", buttons=[button("/replies/7/seen", "Read it", back="/")]),
        ],
        broken=[
            line("Noor Vale", "The e-mail address n••@example.org does not work: a message to it came back, yesterday at 17:30. Ask for another one.",
                 mark="caution", number="F7H-2C9R", href="/tickets/21"),
        ],
        sources=[
            line("bench", "Two changes wait for you.", mark="question", links=[{"href": "/sources?source=bench", "label": "Look", "main": True}]),
            line("till", "Nothing has come since 9:10. Look whether it still runs.", mark="caution", links=[{"href": "/sources?source=till", "label": "Look", "main": False}]),
        ],
        kept_longer=[
            line("Look again", "Something is in dispute: its data are kept longer. Does that still hold?", mark="question",
                 number="K7M-2X9T", href="/tickets/12"),
        ],
        backups=[
            line("Brought back from a backup", "This is the backup made yesterday at 2:31, brought back at 8:40. What changed after it is not in it: enter it anew.",
                 mark="caution"),
            line("Not sent again", "Four messages may have left before the backup was brought back. Send them once more where nobody was told.",
                 mark="call", links=[{"href": "/messages?group=dropped", "label": "Show them", "main": False}]),
        ],
        requests=[line("Pat Quill", "To be forgotten. Late by two days: it had to be answered by Friday, 20 November 2026. Answer it now. It waits, since a device of theirs is here.",
                       mark="caution", number="K7M-2X9T", href="/requests/4")],
        danger=[
            line("Kestrel pocket radio", "It was promised for today, by 15:00, which can hardly be kept. The part comes too late for it. "
                 "You could promise tomorrow, by 11:30 instead, or let it stand.", mark="caution", number="T3N-6W8L", href="/tickets/14",
                 links=[{"href": "/tickets/14#promise-part", "label": "See what can be promised", "main": False}]),
        ],
        deliveries=[
            line("2 parts from Lantern Spares", "Expected this morning. They free P4H-9C3R and T3N-6W8L.", mark="part",
                 buttons=[{"action": "/deliveries/arrived", "label": "It is here", "main": True, "fields": [{"name": "part", "value": "31"}, {"name": "part", "value": "32"}]}]),
        ],
        bench=[
            line("Otter 220 camera", "A better order: take this one first. 1.3 promises more would be kept on average (4.2 instead of 2.9): it was promised for today, by 15:00, and the others can wait. Two others change their places as well.", mark="in_line",
                 number="P4H-9C3R", href="/tickets/13", id="better",
                 buttons=[button("/bench/77/take", "Take this order", back="/"), button("/bench/77/refuse", "Leave it as it is", back="/")]),
            line("The order of the bench", "It was changed by hand at 9:40 by Ada.", id="bench-order",
                 buttons=[button("/bench/usual", "Back to the usual order", back="/")]),
            line("Harbour 3 radio", "On the bench since 9:12, Ada. Probably ready today between 10:00 and 12:00; promised for 12:00, which will be kept about 9 times in 10.",
                 mark="on_bench", number="C9R-4F7H", href="/tickets/15", range=ready.SOON,
                 buttons=[_move("Repaired, try it out", "proving")]),
            line("Otter 220 camera", "Shutter sticks. Probably ready between today, 13:30, and tomorrow, 10:30; promised for 15:00, which will be kept about 3 times in 10.", mark="in_line", range=ready.DOUBTFUL,
                 number="P4H-9C3R", href="/tickets/13", place="shelf A1", buttons=[_move("Take to the bench", "on_bench", main=True)]),
            line("Fenlight e-reader", "Does not charge. Probably ready tomorrow between 9:30 and 15:30; nothing is promised yet.", mark="in_line", number="T3N-6W8L", range=ready.FREE,
                 href="/tickets/14", place="metal box", flag="Battery swollen: do not charge", buttons=[_move("Take to the bench", "on_bench"), button("/tickets/14/next", "Take it next", back="/")]),
        ],
        asked=[
            line("Harbour 2 radio", "Asked about the price yesterday at 16:10. It stays open until Tuesday, 1 December, 16:10.", mark="question",
                 number="R7T-2K5M", href="/tickets/19"),
        ],
        shelf=[
            line("Pebble game handheld", "Repaired. Nobody has chosen a time yet; told yesterday at 16:05.", mark="on_shelf",
                 number="H6X-3K2P", href="/tickets/16", place="shelf C2"),
        ],
        pickups=[
            line("Sam Ferris, 1 device", "Otter 110 camera, £24.00 to pay.", mark="slot", clock="11:30", number="W8L-5T3N",
                 href="/visits/8", place="shelf A4"),
            line("Noor Vale, 2 devices", "Both paid.", mark="slot", clock="17:15", number="F7H-2C9R", href="/visits/9", place="shelf B1, B2"),
        ],
        calls=[
            line("Noor Vale", "Has no mobile and no e-mail. The radio is ready.", mark="call", phone="+44 7700 900 145",
                 phone_href="tel:+447700900145", number="L2P-8H4X", href="/tickets/17"),
        ],
        tried=[line("Harbour 3 radio", "Three wrong codes were shown for it within a day, the last at 16:52. The desk asks for a check in words.", mark="caution", number="K7M-2X9T", href="/tickets/12")],
        resting="Six devices wait for parts or for an answer and need nothing now.",
        reports=[("/promises", "How promises were kept"), ("/forecast", "The bench and the time")],
        scale=ready.scale(), parts_scale=ready.scale(), old="",
        for_parts=[
            line("Otter 110 camera", "Probably ready between tomorrow, 12:30, and Monday, 30 November, 11:00; promised for Monday, 30 November, 12:00, which is as good as certain.",
                 mark="part", number="R3D-8K2V", href="/tickets/31", range=ready.LATER),
            line("Slate e-reader", "Probably ready between Friday, 4 December, 10:00, and Monday, 7 December, 11:30; nothing is promised yet.", mark="part", number="V6C-2P9M",
                 href="/tickets/32", range=ready.BEYOND),
            line("Harbour 2 radio", "Nobody knows when its part comes: ask the supplier and note the day.", mark="part", number="X4B-7H3N", href="/tickets/33"),
        ],
    )  # fmt: skip


def _empty_day() -> Page:
    lists: Page = {
        name: []
        for name in (
            "answered",
            "replies",
            "deliveries",
            "bench",
            "asked",
            "shelf",
            "pickups",
            "calls",
            "broken",
            "tried",
            "danger",
            "requests",
            "sources",
            "backups",
            "kept_longer",
        )
    }
    return {**_day(), **lists, "notice": "", "undo": None, "resting": "", "paused": True, "rang": [], "for_parts": [], "scale": None,
            "parts_scale": None, "old": "The times below were reckoned at 8:40 and may be out of date: a person should look whether the program still runs.",
            "summary": "Nothing needs hands right now.", "waiting": {"deliveries": 0, "calls": 0, "replies": 0}}  # fmt: skip


def _device(i: int, **more: Any) -> Page:
    return {
        "i": i, "device_class": "", "device": "", "fault": "", "condition": "", "accessories": "", "price_agreed": "",
        "price_limit": "", "deposit": "", "paid": False, "shelf": "", "safety": [], "follows": "", "promise": "", "kind": "",
        "pad": "", "outlook": None, **more,
    }  # fmt: skip


_OUTLOOK: Page = {
    "sentence": "If it comes into the line now, it will be ready by 17:30; by tomorrow, 11:30 with a part ordered now from Harbour Radio Works; "
    "by Saturday, 28 November, 12:00 with a part ordered now from Lantern Spares. Each will be kept about 9 times in 10.",
    "offers": [{"name": "take-1", "value": "2026-11-26T17:30", "label": "Promise 17:30"},
               {"name": "take-1", "value": "2026-11-27T11:30", "label": "Promise tomorrow, 11:30"},
               {"name": "take-1", "value": "2026-11-28T12:00", "label": "Promise Saturday, 28 November, 12:00"}],
}  # fmt: skip


def _check_in(**more: Any) -> Page:
    visit: Page = {
        "name": "", "phone": "", "phone_purposes": [], "email": "", "email_purposes": [], "language": "en",
        "waits_here": False, "number_is_device": False, "child": False, "tell_name": "", "tell_phone": "", "tell_email": "",
        "payer_name": "", "collector_names": "", "taken_in": "",
    }  # fmt: skip
    return (
        staff_base(
            "check_in",
            visit=visit,
            devices=[_device(1, promise="2026-11-26T11:30")],
            at_device=False,
            languages=[
                {"code": "en", "label": "English"},
                {"code": "de", "label": "Deutsch"},
                {"code": "it", "label": "Italiano"},
            ],
            classes=[
                {"code": "radio", "label": "Radio"},
                {"code": "camera", "label": "Camera"},
                {"code": "e_reader", "label": "E-reader"},
                {"code": "handheld", "label": "Game handheld"},
                {"code": "other", "label": "Something else"},
            ],
            safety_kinds=[
                {"code": "swollen", "label": "swollen"},
                {"code": "hot", "label": "hot"},
                {"code": "leaking", "label": "leaking"},
                {"code": "wet", "label": "wet"},
            ],
            asks=[
                {"language": "en", "label": "English", "sentence": WORDS.get("en")["consent.afterwards"]},
                {"language": "de", "label": "Deutsch", "sentence": WORDS.get("de")["consent.afterwards"]},
            ],
            agreed=[{"language": "en", "label": "English", "sentence": WORDS.get("en")["consent.repair"]}],
            repair_kinds=[{"label": "Camera", "options": [{"code": "k2", "label": "Camera shutter"}]}],
            cautions=CAUTIONS,
            once="example-once",
            currency="£",
            more_open=False,
            late_open=False,
        )
        | more
    )


def _check_in_wrong() -> Page:
    page = _check_in(more_open=True)
    visit = {**page["visit"], "name": "Pat Marlow", "phone": "07700 90", "phone_purposes": ["repair"],
             "email": "pat@example", "collector_names": "Mia Oland, Jo Penn"}  # fmt: skip
    devices = [
        _device(
            1,
            device_class="e_reader",
            device="Fenlight",
            fault="Does not charge",
            safety=["swollen"],
            shelf="metal box",
        ),
        _device(2, device="Harbour 3", deposit="ten"),
    ]
    errors = [
        {"field": "phone", "text": "The number is too short. Type it with its area code."},
        {"field": "email", "text": "The e-mail address has no complete domain. It looks like name@example.org."},
        {"field": "device_class-2", "text": "Choose what kind of device the second one is."},
        {"field": "fault-2", "text": "Say what is wrong with the second device."},
        {"field": "deposit-2", "text": "The deposit is not an amount. Write it like 12.50."},
    ]
    return {**page, "visit": visit, "devices": devices, "errors": errors}


def shop_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    return {
        "day_sheet": ("day_sheet.html", _day()),
        "day_sheet_empty": ("day_sheet.html", _empty_day()),
        "check_in": ("check_in.html", _check_in()),
        "check_in_when": (
            "check_in.html",
            _check_in(
                devices=[_device(1, device="Otter 220", device_class="camera", outlook=_OUTLOOK)], at_device=True
            ),
        ),
        "check_in_wrong": ("check_in.html", _check_in_wrong()),
    }
