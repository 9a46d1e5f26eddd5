"""Invented contexts for the counter's other pages: sign-in, who, deliveries, pickups, calls, messages, settings."""

# ruff: noqa: E501 (rows of example data read best as rows)

from __future__ import annotations

from typing import Any

from tests.web.examples_shop import Page, button, line, staff_base


def _signed_out(**more: Any) -> Page:
    return {**staff_base("", name="", wait="", next="", shops=[], shop_chosen=""), "staff": None, **more}


def _who() -> Page:
    people = [
        {"id": "1", "name": "Ada Quill", "role_words": "owner", "here": True},
        {"id": "2", "name": "Ben Rowe", "role_words": "technician", "here": False},
        {"id": "3", "name": "Cleo Marsh", "role_words": "at the counter", "here": False},
    ]
    return staff_base("", people=people, chosen="")


def _boxed(name: str, number: str, frees: str, *, id: str, **more: Any) -> Page:
    return {"id": id, "name": name, "number": number, "href": f"/tickets/{id}", "frees": frees, "changes": 2, "line": "",
            "short": "", **more}  # fmt: skip


def _boxes() -> list[Page]:
    spring = _boxed("Shutter spring, Otter 220", "P4H-9C3R", "Ben can bench it at once; promised today by 11:30.",
                    id="31", line="Article OT-220, order 2026/17, slip PS 77.")  # fmt: skip
    battery = _boxed("Battery, Fenlight", "T3N-6W8L", "The last missing part; Ada benches it.", id="32",
                     short="Others of its box came at 9:02, this one did not. Ask Lantern Spares where it is.")  # fmt: skip
    return [
        {
            "id": "4", "supplier": "Harbour Radio Works", "sentence": "Two days late.", "late": True,
            "usual": "Usually here about 10:00, the next working day. Came on its day 8 of 10 times. Late: 2 one working day later.",
            "hangs": "Promised, and waiting for it: K7M-2X9T (today, 17:00).",
            "parts": [_boxed("Green case, Harbour 3", "K7M-2X9T", "Pat waits for an answer about the grey one.", id="30")],
        },
        {"id": "5", "supplier": "Lantern Spares", "sentence": "Expected this morning.", "late": False, "usual": "", "hangs": "",
         "parts": [spring, battery]},
    ]  # fmt: skip


def _deliveries() -> Page:
    return staff_base(
        "deliveries", boxes=_boxes(), suppliers=[{"code": "Lantern Spares", "label": "Lantern Spares"}], typed={"supplier": "", "due": "", "order_ref": ""}, to_send_back=2,
        unordered=[
            {"id": "33", "sentence": "Speaker for a Pebble handheld, nobody has ordered it.", "number": "H6X-3K2P", "href": "/tickets/16", "may_order": True},
            {"id": "34", "sentence": "Hinge for a Tern reader: the customer is asked first.", "number": "W8L-5T3N", "href": "/tickets/17", "may_order": False},
        ],
        arrived=[{"id": "29", "sentence": "Dial glass for C9R-4F7H came at 9:02.", "place": "The device is at tray 3.", "label_href": "/parts/29/label.pdf",
                  "another_href": "/parts/29/another", "buttons": [button("/parts/29/give", "Give it to P4H-9C3R instead", to="31"),
                                                                  button("/parts/29/not-here", "It is not here after all")]}],
    )  # fmt: skip


def _another(**more: Any) -> Page:
    return staff_base(
        "deliveries", part_id="31", name="Shutter, black", number="P4H-9C3R", href="/tickets/13", device="Otter 220 camera", stands="Ordered.",
        came="", price="", **{"may_ask": True, "may_note": True, "may_use": False, **more},
    )  # fmt: skip


def _send_back() -> Page:
    cone = {"id": "41", "name": "Speaker cone", "label": "d41", "why": "It is faulty.", "named": "Article SC-4, packing slip PS 77", "number": "K7M-2X9T",
            "cost": "£4.50", "asked": False, "never_posted": False, "ticked": True}  # fmt: skip
    shutter = {**cone, "id": "42", "label": "d42", "name": "Shutter, silver", "why": "It is another one than was ordered.", "asked": True, "ticked": False,
               "named": "", "cost": ""}  # fmt: skip
    battery = {**cone, "id": "43", "label": "d43", "name": "Battery pack", "never_posted": True, "ticked": False}
    return staff_base("deliveries", today="Thursday, 26 November", groups=[
        {"id": "1", "supplier": "Lantern Spares", "parts": [cone, shutter], "goes": True, "battery": True},
        {"id": "none", "supplier": "a supplier not named", "parts": [battery], "goes": False, "battery": False},
    ])  # fmt: skip


def _coming(name: str, sentence: str, *, id: int, late: str = "", **more: Any) -> Page:
    links = [
        {"href": f"/visits/{id}/handover", "label": "Hand back", "main": True},
        *([{"href": "tel:+447700900145", "label": "Call", "main": False}] if late else []),
        {"href": f"/visits/{id}/book", "label": "Move", "main": False},
    ]
    return line(f"{name}{late}", sentence, mark="caution" if late else "slot", id=f"pickup-{id}", links=links,
                buttons=[button(f"/bookings/{id}/cancel", "Give up")], **more)  # fmt: skip


def asks(back: str) -> list[Page]:
    """What calendars asked, as web/counter/calendar_asks says it."""
    where = "/calendar-answers/5"
    take = {"choice": "take", "slot": "2026-11-26T16:00/0", "back": back}
    return [
        line("Noor Vale", "Their calendar asks for another pickup time. Say yes or no. Their time is today at 11:45. They ask for "
             "today at 16:05. “After work would suit me better”", mark="question", number="F7H-2C9R", href="/visits/9", id="calendar-5",
             buttons=[button(where, "Move it to 16:00", main=True, **take), button(where, "Say that it does not suit", choice="no", back=back)]),
        line("Sam Ferris", "A calendar said no to the pickup time, but nothing proves that it was theirs. The place is kept; ask them. "
             "Their time is today at 11:30.", mark="question", number="W8L-5T3N", href="/visits/8", id="calendar-6",
             buttons=[button("/calendar-answers/6", "Free the place", choice="free", back=back),
                      button("/calendar-answers/6", "Keep the place", choice="keep", back=back)]),
    ]  # fmt: skip


def _row(kind: str, clock: str, sentence: str, *people: Page) -> Page:
    return {"kind": kind, "clock": clock, "sentence": sentence, "people": list(people)}


def _pickups(**more: Any) -> Page:
    came = line("Jo Penn", "Came, and collected Harbour 3 radio at 10:20.", mark="handed_back", number="C9R-4F7H",
                href="/tickets/15", past=True)  # fmt: skip
    late = _coming("Sam Ferris", "Otter 110 camera. £24.00 to pay. Their calendar said maybe.", id=8, number="W8L-5T3N",
                   late=", 12 minutes late", href="/visits/8", place="Place: shelf A4")  # fmt: skip
    soon = _coming("Noor Vale", "Pebble handheld and Slate e-reader. Paid. Mia Oland may come instead.", id=9,
                   number="F7H-2C9R", href="/visits/9", place="Place: B1, B2", flag="Battery swollen: do not charge",
                   clock="11:50")  # fmt: skip
    return staff_base("pickups", **{
        "day": "Thursday, 26 November", "is_today": True,
        "sentence": "Two people have a time, and one has come already; one is late, and the next is due at 11:45.",
        "earlier_href": "/pickups?day=2026-11-25", "earlier_label": "Wednesday, 25 November",
        "later_href": "/pickups?day=2026-11-27", "later_label": "Friday, 27 November",
        "rows": [
            _row("fold", "10:00 to 10:15", "nobody had a time"), _row("slot", "10:15", "", came),
            _row("fold", "10:30 to 11:30", "nobody had a time"), _row("slot", "11:30", "1 of 2 free", late),
            _row("now", "Now, 11:42", "One person is late. The next is due at 11:45."),
            _row("slot", "11:45", "full", soon), _row("fold", "12:00 to 18:30", "free, 52 places"),
        ],
        "gone": [line("Pat Marlow", "The time was given up. Harbour 3 radio.", clock="10:00", number="K7M-2X9T", href="/visits/4", past=True)],
        "ready": [line("Pebble game handheld", "Ready since yesterday 16:04; told at 16:05.", mark="on_shelf", number="H6X-3K2P",
                       href="/tickets/16", place="shelf C2", links=[{"href": "/visits/7/handover", "label": "Hand back", "main": False}])],
        "closed": "", "seen_at": "11:42", "paused": False, "rang": [], "zone": "Europe/London",
        **more,
    })  # fmt: skip


def _capacity(**more: Any) -> Page:
    hint = "Assumed: three handovers that were measured so far is too few"
    return staff_base("pickups", **{
        "sentence": "With two people at the counter, give three times each quarter of an hour: four of 100 would wait more than five minutes; with four it would be 22 of 100.",
        "now": "The hours say two people at once: fewer than one of 100 would wait that long.",
        "split": "If every second person is asked for :07 instead of :00, four people fit as well. It costs nothing.",
        "without": "Without any times, only 1.9 people each quarter of an hour could come as they like for the same waiting.",
        "src": "/pickups/capacity.svg?", "dark_src": "/pickups/capacity.svg?shade=dark",
        "alt": "How many wait more than five minutes, by people with a time each quarter of an hour: four of 100 with 3.",
        "rows": [{"per_slot": "1", "over": "0", "mean": "0.0", "best": False}, {"per_slot": "2", "over": "< 1", "mean": "0.2", "best": False},
                 {"per_slot": "3", "over": "4", "mean": "0.8", "best": True}, {"per_slot": "4", "over": "22", "mean": "2.7", "best": False}],
        "figures": [{"name": "people", "label": "People at the counter", "hint": "As the settings say", "value": "2"},
                    {"name": "minutes", "label": "Minutes for one handover", "hint": hint, "value": "6.5"},
                    {"name": "spread", "label": "Minutes early or late", "hint": "From 41 pickups of the last 90 days", "value": "5"},
                    {"name": "no_show", "label": "Of 100 with a time, do not come", "hint": "From 44 pickups of the last 90 days, counted carefully", "value": "4.7"},
                    {"name": "walk_ins", "label": "Without a time, each quarter of an hour", "hint": "From 60 handovers without a time of the last 90 days", "value": "0.1"}],
        "tried": False, "slot": "quarter of an hour", "may_change": True,
        "settings_href": "/settings?at_once=3#hours", "settings_label": "Go to the hours, with three people at once filled in",
        **more,
    })  # fmt: skip


def _calls() -> Page:
    return staff_base(
        "calls",
        calls=[
            {"id": "2", "person": "Noor Vale", "phone": "+44 7700 900 145", "phone_href": "tel:+447700900145",
             "number": "L2P-8H4X", "href": "/tickets/17", "why": "Has no mobile and no e-mail.",
             "sentence": "Good morning, Tramstop Bench here. Your radio is repaired and ready. It costs 38 pounds. We are open until half past six.",
             "tried": "Nobody answered at 9:02.", "note": ""},
            {"id": "3", "person": "Jo Penn", "phone": "", "phone_href": "", "number": "X3K-7M2P", "href": "/tickets/18",
             "why": "The e-mail could not be delivered.", "sentence": "Your camera is waiting for your answer about the price.", "tried": "", "note": ""},
        ],
        results=[
            {"code": "told", "label": "Told them"},
            {"code": "nobody_there", "label": "Nobody answered"},
            {"code": "not_needed", "label": "No longer needed"},
        ],
        done=[{"when": "9:10", "sentence": "Told Sam Ferris that the camera is ready (Ada)."}],
    )  # fmt: skip


def reply(reply_id: str, **more: Any) -> Page:
    """One reply, as _replies.html reads it."""
    return {
        "id": reply_id, "when": "9:02", "who": "Pat Marlow, by text message", "read": "They ask something.", "subject": "",
        "text": "May my sister collect it on Friday?\nShe has the ticket.", "is_quote": True, "number": "K7M-2X9T",
        "href": "/tickets/12#replies", "due": "", "by": "", "is_new": True, "back": "/replies", "can_request": False, **more,
    }  # fmt: skip


def _replies() -> Page:
    return staff_base(
        "replies",
        sentence="Two replies wait to be read.", asks=asks("/replies"),
        replies=[
            reply("9", who="ute@example.net, whom we do not know, by e-mail", read="They ask something.", number="", href="",
                  subject="Do you repair organs?", text="It has no words, or it could not be read. It lies in the mailbox.", is_quote=False),
            reply("7"),
            reply("6", who="Noor Vale, by e-mail", read="They want to be forgotten. Messages to them have stopped; the rest is for a person to decide.",
                  due="Answer them by Friday, 25 December.", is_new=False, by="Read by Ada Quill."),
            reply("4", who="Sam Ferris, by text message", read="They asked us to stop; nothing more goes there.", text="STOP", is_new=False),
        ],
        newer_href="", older_href="/replies?page=2",
    )  # fmt: skip


def _message_line(n: int, when: str, subject: str, number: str, sentence: str, **more: Any) -> Page:
    return {"href": f"/messages/{n}", "when": when, "subject": subject, "number": number, "sentence": sentence,
            "trouble": False, "more": "", "again": False, **more}  # fmt: skip


def _messages() -> Page:
    def offer(*labels: str) -> list[dict[str, str]]:
        return [{"code": label.lower(), "label": label} for label in labels]

    return staff_base(
        "messages",
        sentence="Two messages wait to leave; the last left at 9:20.",
        alarm="One message should have left and has not, for three hours. Run shelfbell check: it says whether the way out is open.",
        oldest={"href": "/messages/70", "number": "T3N-6W8L", "subject": "New time",
                "sentence": "has waited three hours: the other side was busy; it is tried again. It leaves at 9:41."},
        spent="This month: 14 text messages in 16 parts, £0.72.",
        chosen={"group": "", "notice": "", "channel": "", "number": ""}, filtered=False,
        choices={"group": offer("Waiting to leave", "Told", "Failed, or to be called", "Not sent"),
                 "notice": offer("Ready to collect", "A question"), "channel": offer("By e-mail", "By text message")},
        failed=[
            _message_line(88, "9:06", "A question", "X3K-7M2P", "By e-mail to j••@example.net, could not be delivered: the other side refused it.",
                          trouble=True, more="It came back at 9:08."),
        ],
        messages=[
            _message_line(90, "9:24", "Back on the bench", "K7M-2X9T", "By e-mail to p••@example.org, leaves at 9:25."),
            _message_line(89, "9:20", "Ready to collect", "W8L-5T3N", "By text message to +44 •••• ••• 123, left at 9:20.",
                          more="It arrived at 9:20. It may have arrived twice.", again=True),
            _message_line(87, "9:02", "Answer (to the shop)", "W8L-5T3N", "By e-mail to Ada Quill, left at 9:02."),
        ],
        newer_href="", older_href="/messages?page=2",
    )  # fmt: skip


def _cost() -> Page:
    def month(name: str, sentence: str, price: str, amount: str) -> Page:
        kinds = [{"name": "Ready to collect", "messages": "9", "parts": "11", "amount": amount},
                 {"name": "Answer (to the shop)", "messages": "5", "parts": "5", "amount": amount}]  # fmt: skip
        return {"name": name, "sentence": sentence, "price": price, "kinds": kinds}

    return staff_base(
        "messages",
        sentence="Each part of a text message costs 0.045 GBP now.",
        months=[month("November 2026", "14 text messages in 16 parts, £0.72.", "One part cost 0.045.", "£0.50"),
                month("October 2026", "14 text messages in 16 parts.", "", "")],
    )  # fmt: skip


def _message() -> Page:
    return staff_base(
        "messages",
        subject="Your radio is ready",
        facts=[{"name": "To", "value": "p••@example.org, by e-mail"}, {"name": "Sent", "value": "Thursday, 26 November, 11:04"},
               {"name": "Answer", "value": "Taken by the other side."}],
        text="Hello Pat,\n\nyour Harbour 3 radio is repaired and ready.\nShelf B3, number K7M-2X9T.\n\nTramstop Bench",
        html_href="/messages/90/html",
        sms="Tramstop Bench: your radio K7M-2X9T is ready. Open until 18:30.",
        sms_sentence="One text message, 63 of 160 characters.",
        say="Your radio is repaired and ready. We are open until half past six.",
        missing="", back_href="/messages", back_label="All messages", why_href="/tickets/12/why#message-90", resend_href="/messages/90/resend", reason="",
        reasons=[{"code": "lost", "label": "They have lost it"}, {"code": "asked", "label": "They asked for it"}],
    )  # fmt: skip


def _preview() -> Page:
    return staff_base(
        "messages",
        subject="Your radio is ready",
        notice_code="ready", notices=[{"code": "ready", "label": "Ready to collect"}, {"code": "question", "label": "A question"}],
        language_code="de", languages=[{"code": "en", "label": "English"}, {"code": "de", "label": "Deutsch"}],
        flags=[{"name": "battery", "label": "with a swollen battery", "on": True},
               {"name": "no_link", "label": "without a public address", "on": False}],
        text="Hello Pat,\n\nyour Harbour 3 radio is repaired and ready.",
        html_href="/previews/html?notice=ready&language=de",
        sms="Tramstop Bench: your radio K7M-2X9T is ready.", sms_sentence="One text message, 46 of 160 characters.",
        say="Your radio is repaired and ready.", back_href="/messages", back_label="All messages",
    )  # fmt: skip


def _demo_mail() -> Page:
    return staff_base(
        "",
        letters=[
            {"href": "/messages/90", "when": "26 November, 11:04", "to": "pat@example.org", "subject": "Your radio is ready",
             "channel_words": "by e-mail", "sms": ""},
            {"href": "/messages/89", "when": "26 November, 9:20", "to": "+44 7700 900 123", "subject": "Your camera is ready",
             "channel_words": "by text message", "sms": "Tramstop Bench: your camera W8L-5T3N is ready. Open until 18:30."},
        ],
    )  # fmt: skip


def _chart(path: str, alt: str) -> Page:
    return {"src": f"{path}.svg", "dark_src": f"{path}.svg?shade=dark", "alt": alt}


def _forecast(**more: Any) -> Page:
    return staff_base("", **{
        "load": "The bench is full until Thursday, 26 November; on Friday, 27 November 3.4 of 9 hours are taken.",
        "load_about": "Twelve devices are reckoned with, as orders, parts and hours are now. What is still to be brought in is not foreseen. Not in it: two wait for the customer's answer and one waits for a part that is not ordered.",
        "load_chart": _chart("/forecast/bench", "Hours taken at the bench: today 6.2 of 6.3, Thursday, 26 November 8.8 of 9 and Friday, 27 November 3.4 of 9."),
        "days": [("Today", "6.2 of 6.3", "5.9 to 6.3"), ("Thursday, 26 November", "8.8 of 9", "8.1 to 9"), ("Wednesday, 2 December", "3.4 of 9", "0.5 to 7")],
        "time": "Until a device is ready, 52 of 100 of its open hours go into waiting for a part; hands are on it in 8 of 100.",
        "time_about": "From the 123 devices that were here in the last 90 days, each counted for these days only. On average 3.4 waited for the bench at any time, 9.1 stood on the shelf.",
        "time_chart": _chart("/forecast/time", "Open hours of a device until it is ready, on average: for a part 14, for the customer 3.2, for the bench 9.1 and on the bench 1.2."),
        "causes": [("Waits for a part", "14", "52", "2.1"), ("Waits for the customer", "3.2", "12", "0.4"), ("Waits for the bench", "9.1", "28", "1.2"), ("On the bench", "1.2", "8", "0.1"), ("On the shelf", "19", "–", "2.6")],
        "kinds": [("Other repairs, 80 devices", "0.9", "for the bench, 9.4 hours"), ("A new battery in a very old e-reader with a glued back, 43 devices", "1.8", "for a part, 31 hours")],
        **more,
    })  # fmt: skip


def _promises(**more: Any) -> Page:
    return staff_base("", **{
        "sentence": "Of 41 promises whose time has passed, 36 were kept: 88 of 100, and with so few it may be anywhere between 74 and 95.",
        "wanted": "That fits the 90 of 100 that are meant to be kept.",
        "learned": "Learned from the 38 newest outcomes: a time is suggested only once the forecast gives it 94 of 100, which keeps 90.",
        "apart": "Five promises were broken; 23 devices were ready more than an hour early.",
        "drift": "Lately 86 of 100 were kept, the newest counting most. That is within what chance alone does.",
        "rows": [("Promises whose time has passed", "41"), ("Kept", "36"), ("Broken", "5"), ("Broken and not ready yet", "1"),
                 ("Kept, of 100 (95 % sure: from, to)", "88 (74, 95)")],
        "scores": [("Open minutes a forecast was off, on the whole (CRPS)", "42")],
        "spread": "A fair forecast fills all tenths alike; nothing stands out here.",
        "tenths": [(f"{10 * at} to {10 * at + 10}", str(number)) for at, number in enumerate((2, 3, 4, 4, 3, 4, 4, 4, 5, 5))],
        "kinds": [("Other repairs", "30", "27"), ("A new battery in a very old e-reader with a glued back", "11", "9")],
        "causes": [("The part comes later", "3"), ("No other time was told", "2")],
        "late": [("more than a day early", 2), ("an hour to a day early", 21), ("in time, within an hour", 13), ("up to an hour late", 3), ("more than a day late", 2)],
        "newest": [(str(ago), str(share)) for ago, share in zip(range(9, -1, -1), (92, 93, 83, 85, 86, 88, 79, 81, 83, 86), strict=True)],
        "charts": {name: _chart(f"/promises/{name}", "Devices ready in each tenth of their forecast, from the earliest: 2, 3 and 4.")
                   for name in ("kept", "pit", "drift")},
        "left_out": "Three promises are left out: 2 because the customer had to answer a question first and 1 because the device could not be repaired, or was not to be.",
        **more,
    })  # fmt: skip


def _hours_row(i: int, weekday: str, opens: str, closes: str) -> Page:
    return {"i": i, "weekday": weekday, "opens": opens, "closes": closes, "capacity": "2" if weekday else "",
            "valid_from": "2026-01-01" if weekday else "", "valid_until": ""}  # fmt: skip


def _hit(head: str, **more: object) -> Page:
    sentence = "Booked on Thursday, 24 December, at 10:00. The counter hands nothing back at that time any more."
    return {
        "mark": "slot", "clock": "", "number": "K7M-2X9T", "href": "/visits/8", "head": head, "sentence": sentence,
        "place": "", "flag": "", "phone": "+44 7700 900123", "phone_href": "tel:+447700900123", "buttons": [],
        "links": [], **more,
    }  # fmt: skip


def _hits() -> Page:
    action = {"action": "/bookings/b7/settle", "fields": [{"name": "seen", "value": "b7:0"}]}
    buttons = [
        {**action, "label": "Move to Wednesday, 23 December, 17:45", "main": True},
        {**action, "label": "Give up and let them choose", "main": False},
        {**action, "label": "It stays as it is", "main": False},
    ]
    links = [{"href": "/visits/8/book?why=closed", "label": "Another time", "main": False}]
    return staff_base(
        "pickups", lines=[_hit("Pat Marlow", buttons=buttons, links=links), _hit("Somebody without a name")],
        sentence="Two pickups no longer fit the hours. Nothing is moved unless you press it.",
    )  # fmt: skip


def _would_hit() -> Page:
    return {
        "sentence": "One pickup would no longer fit. Nothing is changed yet.", "lines": [_hit("Pat Marlow")],
        "action": "/settings/closed", "fields": [{"name": "day", "value": "2026-12-24"}],
    }  # fmt: skip


def _desk_slots() -> Page:
    times = [
        {"value": f"2026-11-26T{hour}:00/0", "label": f"{hour}:00", "rest": "in the morning", "note": "",
         "last": hour == 11}
        for hour in (10, 11)
    ]  # fmt: skip
    day = {"label": "Tomorrow, Thursday, 26 November", "free": "2 times free", "open": True,
           "parts": [{"label": "In the morning", "times": times}]}  # fmt: skip
    return staff_base(
        "pickups", number="K7M-2X9T", visit_href="/visits/8", is_ready=True, together="",
        moving="You have a time tomorrow at 9:00. Press another to change it; yours is kept until then.",
        soonest="The soonest: tomorrow, 10:00 in the morning.", full="", days=[day], w={"slots": {"last": "last place"}},
        action="/visits/8/book", back="/visits/8", once="example-once", why="",
    )  # fmt: skip


def _settings() -> Page:
    names = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
    return staff_base(
        "settings",
        may_change=True,
        may_report=True,
        at_once="",
        shop={"name": "Tramstop Bench", "phone": "+44 7700 900 100", "email": "bench@tramstop.example.org",
              "address": "4 Ropewalk, Quillhaven", "zone": "Europe/London", "region": "GB"},
        hours=[_hours_row(1, "0", "10:00", "18:30"), _hours_row(2, "1", "10:00", "18:30"), _hours_row(3, "", "", "")],
        weekdays=[{"code": str(i), "label": name} for i, name in enumerate(names)],
        pickup={"counter_people": "1", "slot_minutes": "15", "lead_minutes": "30", "horizon_days": "14",
                "telling_hours": "mon-sat 08:00-21:00; sun 10:00-20:00"},
        closed=[{"day": "9", "label": "Friday, 25 December, closed"}],
        special={"day": "", "opens": "", "closes": "", "capacity": "1", "reason": ""},
        holidays={"holidays_of": "GB-ENG"},
        holidays_silent="",
        holiday_list=[
            {"day": "2026-12-25", "label": "Friday, 25 December 2026: Christmas Day, closed"},
            {"day": "", "label": "Saturday, 26 December 2026: Boxing Day, as you noted above"},
        ],
        would_hit=None,
        people=[{"id": "1", "name": "Ada Quill", "role_words": "owner", "you": True, "rings": "The bell rings by e-mail to a••@example.org.",
                 "rings_by": "email", "has_bell": True, "may_ring": True, "repairs": False, "away": []},
                {"id": "2", "name": "Ben Rowe", "role_words": "technician", "you": False, "rings": "The bell rings on the shop's own address.",
                 "rings_by": "", "has_bell": False, "may_ring": True, "repairs": True,
                 "away": [{"id": "5", "label": "Tuesday, 1 December to Friday, 4 December"}]}],
        away={"id": "2", "from_day": "2026-12-07", "from_time": "", "until_day": "", "until_time": ""},
        promises={"promise_level": "90", "promise_tick": "30", "promise_warn": "50", "promise_rule": "ask", "proving_minutes": "10"},
        promise_ticks=[{"code": "15", "label": "15 minutes"}, {"code": "30", "label": "30 minutes"}],
        promise_rules=[{"code": "ask", "label": "You are warned and decide"}, {"code": "tell", "label": "The customer is told a new time at once"}],
        rings_by=[{"code": "email", "label": "By e-mail"}, {"code": "sms", "label": "By text message"}, {"code": "both", "label": "By both"}],
        bell={"id": "2", "email": "ben at home", "phone": "", "by": "email"},
        collecting={"reminder_hours": "3", "missed_notes": "2", "collection_days": "3, 10, 24", "review_days": "365",
                    "pass_days": "14", "hold_hours": "24", "code_above": "0"},
        telling={"bell_phone": "", "alarm_minutes": "60", "sms_part_price": "0.045", "all_well_days": "0", "forget_notice_days": "7", "long_past_hours": "6"},
        roles=[{"code": "counter", "label": "counter"}, {"code": "technician", "label": "technician"}, {"code": "owner", "label": "owner"}],
        person={"name": "", "role": "counter"},
        suppliers=[{"id": "1", "name": "Lantern Spares", "sentence": "Order by 17:00, here the next working day. Came on the day 8 of 10 times, 2 one working day later.", "may_drop": True}],
        supplier={"name": "", "cutoff": "", "delivers_at": "", "days": "", "zone": "", "holidays_of": "", "closed_days": "", "works": list("01234"), "redelivers": ""},
        feeds=[{"id": "1", "name": "Phone at the counter", "sentence": "Made Monday, 23 November by Ada Quill."}], feed={"name": ""},
        feed_made={"name": "Ada's tablet", "path": f"/feeds/{'bcdf' * 8}.ics", "link": f"https://bell.example.org/feeds/{'bcdf' * 8}.ics",
                   "webcal": f"webcal://bell.example.org/feeds/{'bcdf' * 8}.ics"},
        retention={
            "data_class": "contact_card", "days": "90", "clock": "event", "year_end": "", "source": "", "ask": "",
            "sentence": "12 people would be forgotten tonight.", "not_advice": "This is not legal advice.",
            "rules": [{"name": "Name, contacts and messages", "sentence": "90 days.", "source": "No law names a figure"}],
            "kinds": [{"code": "contact_card", "label": "Name, contacts and messages"}],
            "clocks": [{"code": "event", "label": "the day itself"}], "reasons": "", "longer_while": [],
            "longer": [{"data_class": "contact_card", "name": "Name, contacts and messages", "always": "something is in dispute",
                        "ticks": [{"code": "unpaid", "label": "A repair is not paid", "on": True}]}],
        },
    )  # fmt: skip


def _lost_desk(**more: Any) -> Page:
    """The desk of a lost ticket, before a code was sent."""
    asked: Page = {
        "visit_id": "8", "person": "Pat Marlow", "numbers": ["K7M-2X9T"], "masked": "p••@example.org", "asked": False,
        "trouble": "", "held": "", "checked": "", "sure": "",
    }  # fmt: skip
    return staff_base("", **(asked | more))


def counter_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    wrong = [{"field": "", "text": "The name or the password is not right. Check capitals and try again."}]
    quiet: Page = {"boxes": [], "unordered": [], "arrived": []}
    read_only = {
        "may_change": False,
        "may_report": False,
        "feed_made": None,
        "errors": [{"field": "hours-closes-1", "text": "Monday closes before it opens."}],
    }
    return {
        "sign_in": ("sign_in.html", _signed_out()),
        "sign_in_wrong": ("sign_in.html", _signed_out(name="ada", errors=wrong)),
        "sign_in_shops": (
            "sign_in.html",
            _signed_out(shops=[{"code": "1", "label": "Tramstop Bench"}, {"code": "2", "label": "Pier Bench"}]),
        ),
        "desk_error": (
            "desk_error.html",
            staff_base(
                "",
                title="That does not work now",
                sentence="You may not change the shop's settings.",
                advice="Ask someone with the role owner.",
                problems=[],
            ),
        ),
        "who": ("who.html", _who()),
        "lost_desk": ("lost_desk.html", _lost_desk()),
        "lost_desk_wrong": (
            "lost_desk.html",
            _lost_desk(
                asked=True,
                trouble="The code did not arrive: the other side refused it.",
                errors=[{"field": "code", "text": "This is not the code. It can be tried 4 times more."}],
            ),
        ),
        "lost_desk_held": (
            "lost_desk.html",
            _lost_desk(masked="", held="An address or number was changed today at 17:05.", checked="called her"),
        ),
        "deliveries": ("deliveries.html", _deliveries()),
        "deliveries_none": ("deliveries.html", {**_deliveries(), **quiet}),
        "deliveries_box": ("deliveries_box.html", staff_base("deliveries", code="PS 77", several=True, boxes=_boxes())),
        "another_came": ("another_came.html", _another()),
        "another_came_wrong": (
            "another_came.html",
            _another(
                may_note=False, may_use=True, errors=[{"field": "came", "text": "What came? Say how it differs."}]
            ),
        ),
        "send_back": ("send_back.html", _send_back()),
        "send_back_none": ("send_back.html", {**_send_back(), "groups": []}),
        "pickups": ("pickups.html", _pickups()),
        "pickups_closed": (
            "pickups.html",
            _pickups(
                is_today=False, paused=True, rows=[], gone=[], ready=[], closed="The counter is closed on this day."
            ),
        ),
        "capacity": ("capacity.html", _capacity()),
        "forecast": ("forecast.html", _forecast()),
        "forecast_none": (
            "forecast.html",
            _forecast(
                load="Nothing waits for the bench.",
                time_about="",
                load_chart=None,
                time_chart=None,
                causes=[],
                kinds=[],
                time="No device was here in the last 90 days, so there is nothing to say.",
            ),
        ),
        "promises": ("promises.html", _promises()),
        "promises_none": (
            "promises.html",
            _promises(
                sentence="No promise has come due yet, so there is nothing to say.",
                wanted="90 of 100 are meant to be kept.",
                learned="Forecasts are taken as they are; nine more forecasts with an outcome, and they are corrected by them.",
                drift="",
                late=[],
                newest=[],
                spread="",
                tenths=[],
                kinds=[],
                causes=[],
                left_out="None is left out.",
                rows=[("Promises whose time has passed", "0"), ("Kept", "0")],
                scores=[],
            ),
        ),
        "capacity_wrong": (
            "capacity.html",
            _capacity(
                errors=[{"field": "minutes", "text": "This is no number. Write digits only, such as 6.5."}],
                tried=True,
                may_change=False,
                split="",
            ),
        ),
        "calls": ("calls.html", _calls()),
        "replies": ("replies.html", _replies()),
        "replies_none": (
            "replies.html",
            {**_replies(), "replies": [], "asks": [], "sentence": "Every reply has been read.", "older_href": ""},
        ),
        "messages": ("messages.html", _messages()),
        "messages_none": (
            "messages.html",
            {**_messages(), "failed": [], "messages": [], "oldest": None, "alarm": "", "spent": "", "filtered": True},
        ),
        "cost": ("cost.html", _cost()),
        "cost_none": (
            "cost.html",
            {**_cost(), "months": [], "sentence": "What a text message costs is not set, so only parts are counted."},
        ),
        "message": ("message.html", _message()),
        "preview": ("preview.html", _preview()),
        "demo_mail": ("demo_mail.html", _demo_mail()),
        "settings": ("settings.html", _settings()),
        "settings_would_hit": ("settings.html", {**_settings(), "would_hit": _would_hit()}),
        "hits": ("hits.html", _hits()),
        "hits_none": ("hits.html", {**_hits(), "lines": [], "sentence": "Every pickup fits the hours."}),
        "desk_slots": ("desk_slots.html", _desk_slots()),
        "desk_slots_none": ("desk_slots.html", {**_desk_slots(), "days": [], "moving": "", "is_ready": False}),
        "settings_at_once": ("settings.html", {**_settings(), "at_once": "3"}),
        "settings_read_only": ("settings.html", {**_settings(), **read_only}),
    }
