"""Invented contexts for the pages of pads, and of what happened earlier."""

from __future__ import annotations

from typing import Any

from tests.web.examples_shop import Page, staff_base

_LANGUAGES = [{"code": "en", "label": "English"}, {"code": "de", "label": "Deutsch"}]
_CLASSES = [{"code": "radio", "label": "Portable radio"}, {"code": "camera", "label": "Camera"}]
_SAFETY = [{"code": "swollen", "label": "battery swollen"}, {"code": "wet", "label": "has been wet"}]


def _pads(**more: Any) -> Page:
    prints = [{"href": "/pads/p1/a4.pdf", "label": "A4, one sheet a ticket"},
              {"href": "/pads/p1/roll80.pdf", "label": "80 mm roll"}]  # fmt: skip
    some = {"id": "p1", "printed": "Of today 14:30: 20 tickets", "sentence": "18 blank, 1 entered, 1 made void.",
            "left": ["X7T-3C0J", "K4M-9P2X"], "prints": prints, "enter_href": "/pads/p1/enter"}  # fmt: skip
    done = {"id": "p0", "printed": "Of Wednesday 3 June 09:00: 2 tickets", "sentence": "0 blank, 2 entered.",
            "left": [], "prints": [], "enter_href": ""}  # fmt: skip
    return staff_base("check_in", pads=[some, done], typed={"tickets": "20", "number": ""}, may_void=True) | more


def _row(i: int, number: str, **typed: Any) -> dict[str, Any]:
    texts = dict.fromkeys(
        ("taken_in", "name", "phone", "email", "device_class", "device", "fault", "accessories", "price_limit", "shelf",
         "promise"), "",
    )  # fmt: skip
    ticks: dict[str, Any] = {"phone_purposes": [], "email_purposes": [], "safety": [], "child": False}
    return {"i": i, "number": number, "language": "en", **texts, **ticks, **typed}


def _rows(**more: Any) -> Page:
    filled = _row(1, "X7T-3C0J", name="Noor Vale", child=True,
                  phone="07700 900456", phone_purposes=["repair"], device="Otter",
                  device_class="camera", safety=["wet"], taken_in="2026-11-25T14:30")  # fmt: skip
    return staff_base(
        "check_in", pad_id="p1", once="k1", said="", rows=[filled, _row(2, "K4M-9P2X")], classes=_CLASSES,
        languages=_LANGUAGES, safety_kinds=_SAFETY, asks=True, currency="£",
    ) | more  # fmt: skip


def _earlier(**more: Any) -> Page:
    return staff_base(
        "", ticket_id="8", number="X7T-3C0J", device="Kestrel pocket radio", sentence="In line for the bench.",
        since="Not before today 09:00: that is when the last step was",
        whats=[{"code": "on_bench:", "label": "Take it to the bench"},
               {"code": "part:3", "label": "The part came in: dial"}],
        reasons=[{"code": "not_repairable", "label": "Cannot be repaired"}],
        typed={"what": "", "at": "", "reason": "", "note": ""},
    ) | more  # fmt: skip


def pads_pages() -> dict[str, tuple[str, Page]]:
    """Name -> (template, context)."""
    lost = [{"field": "void-number", "text": "No pad has a ticket with this number. Read it once more from the paper."}]
    wrong = [{"field": "r1-device_class-1", "text": "X7T-3C0J: Choose what kind of device it is."}]
    late = [{"field": "at", "text": "That time lies ahead. Enter when it happened."}]
    return {
        "pads": ("pads.html", _pads()),
        "pads_wrong": ("pads.html", _pads(errors=lost, typed={"tickets": "20", "number": "X7T"})),
        "pads_none": ("pads.html", _pads(pads=[], may_void=False)),
        "pad_rows": ("pad_rows.html", _rows()),
        "pad_rows_wrong": ("pad_rows.html", _rows(errors=wrong, said="Two tickets entered.", asks=False)),
        "earlier": ("earlier.html", _earlier()),
        "earlier_wrong": ("earlier.html", _earlier(errors=late, typed={"what": "on_bench:", "at": "2027-11-25T14:30",
                                                                       "reason": "", "note": "As on paper"})),
        "earlier_over": ("earlier.html", _earlier(whats=[], since="", reasons=[])),
    }  # fmt: skip
