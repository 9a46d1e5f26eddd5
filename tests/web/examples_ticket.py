"""Invented contexts for one visit and one ticket: just taken in, everything about it, handing it back."""

# ruff: noqa: E501 (rows of example data read best as rows)

from __future__ import annotations

from typing import Any

from tests.web import examples_ready as ready
from tests.web.examples_counter import reply
from tests.web.examples_shop import CAUTIONS, Page, button, staff_base


def _taken_in() -> Page:
    def prints(ticket: str) -> list[dict[str, str]]:
        papers = (("roll80", "80 mm roll"), ("roll58", "58 mm roll"), ("a6", "A6 sheet"))
        return [{"label": label, "href": f"/tickets/{ticket}/print/{paper}.pdf"} for paper, label in papers]

    return staff_base(
        "check_in",
        visit_id="8", person="Pat Marlow", reach="Pat hears from us by text message to +44 •••• ••• 123.",
        tickets=[
            {"id": "12", "number": "K7M-2X9T", "device": "Harbour 3 radio", "promise": "Promised for tomorrow, Thursday, by 11:30.", "offer": None,
             "place": "shelf B3", "flag": "", "cautions": [], "prints": prints("12"), "label_href": "/tickets/12/print/label.pdf"},
            {"id": "14", "number": "T3N-6W8L", "device": "Fenlight e-reader", "promise": "", "place": "metal box",
             "offer": {"promise": "2026-11-27T11:30", "label": "Promise Friday, 27 November, 11:30"},
             "flag": "Battery swollen", "cautions": CAUTIONS, "prints": prints("14"), "label_href": "/tickets/14/print/label.pdf"},
        ],
        qr_src="/visits/8/qr.svg", reissue=True, qr_help="Pat may photograph this. It opens the claim page of both devices.",
    )  # fmt: skip


def _device(**more: Any) -> Page:
    return {
        "id": "12", "number": "K7M-2X9T", "device": "Harbour 3 radio", "mark": "on_shelf", "sentence": "Repaired: new case and aerial.",
        "place": "B3", "accessories": ["leather strap", "mains lead"], "money": "Paid.", "owes": False, "flag": "", "cautions": [],
        "ready": True, **more,
    }  # fmt: skip


def _press(value: str, label: str) -> dict[str, str]:
    return {"value": value, "label": label}


def _handover(**more: Any) -> Page:
    return staff_base(
        "",
        refusal=None, visit_id="8", warnings=[], asks_scan=False, asks_check=False, checked="",
        scanned="The claim code was scanned at 17:14.", taker="", booking="Pickup time: 17:30. They are 16 minutes early.",
        devices=[
            _device(),
            _device(id="14", number="T3N-6W8L", device="Fenlight e-reader", sentence="Not repaired: the price was declined.",
                    place="metal box", accessories=[], money="£12.00 still to pay.", owes=True, flag="Battery swollen", cautions=CAUTIONS),
            _device(id="15", number="H6X-3K2P", device="Pebble game handheld", sentence="Waits in line for the bench.", mark="in_line",
                    place="", accessories=[], ready=False),
        ],
        collectors=[{"id": "1", "label": "Pat Marlow, who brought it", "on": True}, {"id": "2", "label": "Mia Oland, named as collector", "on": False},
                    {"id": "3", "label": "Ned Quay, who was given a pass", "on": False}],
        buttons=[_press("all+paid", "£12.00 paid now, hand back all 2"), _press("all", "Hand back all 2, not paid")],
        singles=[_press("12", "Hand back only K7M-2X9T, Harbour 3 radio"), _press("14+paid", "£12.00 paid now, hand back only T3N-6W8L, Fenlight e-reader")],
        passes=[{"id": "31", "sentence": "Ned Quay may collect once, until Wednesday, 9 December, 17:02."}], since="2026-11-25T17:14:00+00:00",
    ) | more  # fmt: skip


def _by_pass() -> Page:
    return _handover(
        scanned="The pass was scanned at 17:14. It counts once.",
        collectors=[],
        devices=[_device()],
        singles=[],
        taker="Ned Quay, sent by Pat Marlow. Look at something with that name on it.",
        buttons=[_press("12", "Hand back Harbour 3 radio")],
    )


def _held() -> Page:
    look = "right ticket is not enough: look at something with the customer's name on it, and write down what."
    return _handover(
        asks_check=True, asks_scan=True, collectors=[], taker="May collect: Pat Marlow, who brought it.", passes=[],
        warnings=[{"title": "An address or number of this customer was changed at 15:40", "lines": [f"Until tomorrow, 15:40 a {look}"]},
                  {"title": "Three wrong codes were shown within a day", "lines": [f"A {look}"]}],
        errors=[{"field": "shown", "text": "This pass was used already. It counts once. Check who it is, or call the customer."}],
    )  # fmt: skip


def _pass_given() -> Page:
    return staff_base("", qr_src="/visits/8/pass.svg", letters="bcdf-ghjk-lnpr-stvx", until="Wednesday, 9 December, 17:02",
                      back_href="/visits/8/handover")  # fmt: skip


def _refused() -> Page:
    return _handover(
        refusal={
            "title": "Not yet handed back",
            "sentence": "K7M-2X9T is only a number, and anybody may know it. It does not show who may take the device.",
            "steps": ["Ask for the claim ticket or the claim page on the phone, and scan its code.",
                      "If it is lost, compare the name and the number with what we have, and issue a new claim ticket; the old one stops working."],
            "links": [{"label": "The visit of this number", "href": "/visits/8"}],
        },
        devices=[], collectors=[], scanned="",
    )  # fmt: skip


def _move(
    event: str, to: str, label: str, *, main: bool = False, outcome: str = "", reasons: tuple[str, ...] | list[str] = ()
) -> Page:
    return {"event": event, "to": to, "outcome": outcome, "label": label, "main": main, "anyway": False, "asks": bool(reasons),
            "reasons": [{"code": f"reason_{i}", "label": reason} for i, reason in enumerate(reasons)]}  # fmt: skip


def _ticket(**more: Any) -> Page:
    return staff_base(
        "",
        ticket_id="12", visit_href="/visits/8", number="K7M-2X9T", device="Harbour 3 radio", mark_name="on_bench",
        sentence="The Harbour 3 radio is on the bench, with Ada, since 9:12.", waits_on="It waits for the customer's answer.",
        place="shelf B3", flag="", cautions=[], fault="No sound on long wave; the case is cracked at the handle.",
        money=["Agreed £38.00, deposit £10.00, £28.00 still to pay."], promise="Promised for today by 11:30.",
        facts=[{"name": "Brought by", "value": "Pat Marlow"}, {"name": "Reached by", "value": "text message to +44 •••• ••• 123"},
               {"name": "Condition", "value": "Scratched dial glass"}, {"name": "Left with it", "value": "leather strap, mains lead"}],
        may_correct=True, contact={"person": "1", "channel": "sms", "address": "", "open": False},
        contact_people=[{"code": "1", "label": "Pat Marlow"}],
        contact_channels=[{"code": "sms", "label": "Mobile number"}, {"code": "email", "label": "E-mail address"}],
        gone="", is_open=True, forgotten=False, version=7, uncollected_href="/uncollected/12", hand_over_href="", next_offer=True, not_now=[], undo_reason="", may_ask=True, may_order=True, may_promise=True,
        holds=[{"id": "3", "sentence": "Kept longer since 20 November 2026: something is in dispute. Somebody looks again on 18 February 2027.",
                "overdue": False, "review_on": "2027-02-26"}],
        reveals=[{"id": "41", "masked": "+44 •••• ••• 123", "label": "Show the number", "shown": ""},
                 {"id": "42", "masked": "p•••@example.org", "label": "Show the address", "shown": "pat@example.org"}],
        may_hold=True, hold={"reason": "dispute", "note": "", "review_on": "2027-02-26", "open": False},
        hold_reasons=[{"code": "dispute", "label": "Something is in dispute"}], not_advice="This is not legal advice.",
        promised=True, booked="", may_reissue=True, links=[{"label": "T3N-6W8L Fenlight e-reader", "href": "/tickets/14"}],
        undo_offer={"event": "401", "sentence": "Taken to the bench: a mistake? It can be taken back for 62 more seconds.", "needs_reason": False},
        move_typed={"event": "", "reason": "", "note": ""},
        moves=[
            _move("repair_done", "proving", "Repaired, try it out", main=True),
            _move("put_back", "in_line", "Put it back in line", reasons=["Part was dead on arrival", "A part is missing"]),
            _move("shelved_unrepaired", "on_shelf", "Give it back unrepaired", outcome="unrepaired", reasons=["Cannot be repaired"]),
        ],
        refused="",
        questions=[{"id": "7", "sentence": "The case came in grey instead of green. Shall we fit the grey one? £38.00", "until": "Open until tomorrow 18:30.",
                    "options": [{"code": "yes", "label": "Yes"}, {"code": "wait", "label": "Wait for green"}, {"code": "give_back", "label": "Give back unrepaired"}],
                    "withdraw": True, "said_by": ""}],
        asked=[{"sentence": "Yesterday 17:45: up to £40? Pat said yes at the counter."}],
        kinds=[{"code": "price", "label": "The price"}, {"code": "substitute", "label": "Another part"}, {"code": "give_back", "label": "Give back unrepaired"}],
        question={"kind": "price", "wording": "", "price": "", "until": "", "open": False},
        parts=[{"id": "30", "sentence": "Green case, ordered from Harbour Radio Works, due Tuesday, two days late.",
                "buttons": [button("/parts/30/arrived", "It is here", main=True)], "label_href": "/parts/30/label.pdf", "order": False, "delay": True,
                "back": "/tickets/12", "supplier": "", "due": "", "line": "Article GC-3, order 2026/17.", "another_href": "/parts/30/another",
                "told": {"article": "GC-3", "order_ref": "2026/17", "slip": ""}}],
        part={"part": "", "supplier": "", "due": "", "article": "", "quantity": "1", "open": False},
        suppliers=[{"code": "1", "label": "Lantern Spares"}, {"code": "2", "label": "Harbour Radio Works"}],
        promise_value="2026-11-26T11:30", promise_help="Suggested: today, by 11:00", why="other", whys=[{"code": "other", "label": "No reason is told"}],
        ready={"sentence": "Probably ready between today, 13:30, and tomorrow, 10:30; promised for 15:00, which will be kept about 3 times in 10.",
               "why": "What lies before it in line decides.", "range": ready.DOUBTFUL, "scale": ready.scale()},
        offer={"promise": "2026-11-27T10:30", "why": "bench_busy", "label": "Promise tomorrow, 10:30 instead: read the words first", "look": True},
        preview=None,
        book_action="/visits/8/book", slots=[{"code": "2026-11-26T17:30/0", "label": "Thursday, 26 November, 17:30"}], slot="",
        price_agreed="38.00", deposit="10.00", paid=False, currency="£", shelf="shelf B3",
        safety=[{"code": "swollen", "label": "Battery swollen", "on": False}, {"code": "wet", "label": "Has been wet", "on": False}],
        repair_kinds=[{"label": "Portable radio", "options": [{"code": "k1", "label": "Radio without sound"}]}], repair_kind="k1",
        notes=[{"when": "yesterday, 18:02", "by": "Ben", "text": "Aerial socket loose as well."}], note="",
        replies=[reply("7"), reply("5", is_new=False, by="Read by Ada Quill.", who="Somebody else, eve@example.net, by e-mail", subject="Fwd: your radio",
                 read="Somebody asks us to stop, from an address we do not write to. Nothing was changed; ask the customer.")],
        messages=[{"when": "today, 9:07", "sentence": "Asked about the grey case, by text message.", "href": "/messages/88"},
                  {"when": "yesterday, 17:43", "sentence": "The welcome was not sent: Pat waited here.", "href": ""}],
        story=[{"when": "today, 9:12", "sentence": "Taken to the bench by Ada."}, {"when": "yesterday, 17:41", "sentence": "Taken in by Cleo."}],
        prints=[{"label": "Claim ticket, 80 mm", "href": "/tickets/12/print/roll80.pdf"}, {"label": "Label", "href": "/tickets/12/print/label.pdf"}],
    ) | more  # fmt: skip


def _preview() -> Page:
    return {
        "sentence": "Pat Marlow will read this, in Deutsch. Nothing has been sent yet.", "language": "de",
        "sms": "Tramstop Bench: Ihr Harbour 3 radio (K7M-2X9T) ist voraussichtlich am Freitag, 27. November, bis 10:30 Uhr fertig. Die Verschiebung tut uns leid.",
        "text": "Guten Tag Pat Marlow, Ihr Harbour 3 radio wird voraussichtlich am Freitag, 27. November, bis 10:30 Uhr fertig.\n\nAuf der Werkbank liegt mehr als gedacht.",
        "promise": "2026-11-27T10:30", "why": "bench_busy", "label": "Tell them tomorrow, 10:30",
    }  # fmt: skip


def _why() -> Page:
    return staff_base(
        "",
        number="K7M-2X9T", back_href="/tickets/12",
        told=[
            {"id": "91", "href": "/messages/91", "subject": "Ready to collect", "person": "Pat Marlow", "trouble": True,
             "fate": "By text message to +44 •••• ••• 123, could not be delivered: it was tried too long.",
             "steps": ["It was planned yesterday at 21:40: repaired and put on the shelf.",
                       "It was to leave at 8:00: not before a decent hour.",
                       "It was offered at 8:00 by text message and not taken yet; it is tried again. The other side said: busy, try again.",
                       "It was given up at 9:00: it was tried too long."]},
            {"id": "90", "href": "/messages/90", "subject": "Part arrived (to the shop)", "person": "", "trouble": False,
             "fate": "By e-mail to the shop, left yesterday at 17:12.",
             "steps": ["It was planned yesterday at 17:12: all its parts are here.", "It left yesterday at 17:12 by e-mail."]},
        ],
    )  # fmt: skip


def _consents(**more: Any) -> Page:
    given = (
        "Thursday, 26 November 2026, 9:00: they allowed text messages for news and questions about the repair, at the"
        ' counter, noted by Lena. It rests on the repair they ordered. The words shown, in English: "We may send you'
        ' news and questions about the repair." (repair-1). Evidence: visit 00000001.'
    )
    use = {
        "code": "afterwards",
        "label": "They allow: one question, some days after the device went home, whether all is well",
    }
    sms = {
        "channel": "sms",
        "masked": "+44 •••• ••• 123",
        "says": "+44 •••• ••• 123: text messages for pickup times.",
        "stopped": "",
        "give": [use],
        "withdraw": [{"code": "pickup", "label": "They withdraw: pickup times"}],
        "can_stop": True,
    }
    mail = {
        "channel": "email",
        "masked": "p•••@example.org",
        "says": "p•••@example.org: nothing goes there, everything was stopped on Wednesday, 3 June 2026.",
        "stopped": "Wednesday, 3 June 2026",
        "give": [],
        "withdraw": [],
        "can_stop": False,
    }
    pat = {
        "id": "7",
        "name": "Pat Marlow",
        "roles": "Brought it, is told",
        "child": False,
        "forgotten": False,
        "ways": [sms, mail],
        "said": [{"sentence": given, "allowed": True}],
    }
    gone = {
        "id": "8",
        "name": "forgotten",
        "roles": "Pays",
        "child": False,
        "forgotten": True,
        "ways": [],
        "said": [{"sentence": given, "allowed": True}],
    }
    return staff_base("", **{"number": "K7M-2X9T", "printed": "Thursday, 26 November", "refused": "", "action": "/visits/K7M-2X9T/consents/say",
                             "may_change": True, "people": [pat, {**pat, "id": "9", "child": True, "said": []}, gone], **more})  # fmt: skip


def ticket_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    refused = "It is on the bench. From there it can go back in line, be tried out, or go on the shelf."
    return {
        "checked_in": ("checked_in.html", _taken_in()),
        "handover": ("handover.html", _handover()),
        "handover_one": (
            "handover.html",
            _handover(devices=[_device()], singles=[], buttons=[_press("12", "Hand back Harbour 3 radio")]),
        ),
        "handover_by_pass": ("handover.html", _by_pass()),
        "handover_held": ("handover.html", _held()),
        "pass_given": ("pass_given.html", _pass_given()),
        "handover_unscanned": (
            "handover.html",
            _handover(
                asks_check=True, scanned="No claim code was scanned, and a number alone does not release a device."
            ),
        ),
        "handover_refused": ("handover.html", _refused()),
        "ticket": ("ticket.html", _ticket()),
        "ticket_preview": ("ticket.html", _ticket(preview=_preview())),
        "why": ("why.html", _why()),
        "consents": ("consents.html", _consents()),
        "consents_refused": (
            "consents.html",
            _consents(refused="Does this person want them again? Ask, then say so.", may_change=False),
        ),
        "consents_nothing": ("consents.html", _consents(people=[])),
        "why_nothing": ("why.html", {**_why(), "told": []}),
        "ticket_refused": ("ticket.html", _ticket(refused=refused, flag="Battery swollen", cautions=CAUTIONS)),
    }
