"""Invented contexts for the pages of repair kinds and past repairs."""

from __future__ import annotations

from typing import Any

from tests.web.examples_shop import Page, staff_base

REPAIR_KINDS = [
    {"label": "Portable radio", "options": [{"code": "k1", "label": "Radio without sound"}]},
    {"label": "Camera", "options": [{"code": "k2", "label": "Camera shutter"}, {"code": "k3", "label": "Lens"}]},
    {"label": "Any device", "options": [{"code": "k4", "label": "Cable & plug"}]},
]
_LEARNED = "214 repairs, half within 41 minutes, nine of ten within 78."


def _kinds(**more: Any) -> Page:
    rows = [
        ("k2", "Camera shutter", "Usually 75 minutes for cameras.", _LEARNED, True, False),
        ("k1", "Radio without sound", "Usually 60 minutes for portable radios.",
         "Nothing learned yet: half within 60 minutes, nine of ten within 153 are assumed.", True, False),
        ("k5", "Another repair", "Usually 30 minutes. This is the kind of all that names none.",
         "Three repairs, half within 28 minutes, nine of ten within 66. Two more were too short or long to be meant.",
         True, True),
        ("k6", "Tape deck belt", "Usually 50 minutes. No longer offered.", "One repair, half within 50 minutes, nine "
         "of ten within 114.", False, False),
    ]  # fmt: skip
    keys = ("id", "name", "sentence", "learned", "active", "rest")
    return staff_base(
        "settings", may_change=True, kinds=[dict(zip(keys, row, strict=True)) for row in rows],
        kind={"name": "", "minutes": "", "device_class": "", "rename": ""},
        classes=[{"code": "radio", "label": "Portable radio"}, {"code": "camera", "label": "Camera"}],
    ) | more  # fmt: skip


def _history(**more: Any) -> Page:
    keys = ("said", "done", "between", "alone")
    rows = [
        ("50%", "50%", "47% to 53%", "20%"),
        ("80%", "81%", "79% to 83%", "73%"),
        ("90%", "90%", "88% to 92%", "93%"),
    ]
    counts = (131, 128, 140, 122, 133, 129, 135, 127, 125, 134)
    bars = [{"range": f"{n * 10} to {n * 10 + 10} %", "count": count} for n, count in enumerate(counts)]
    return staff_base(
        "settings", may_change=True, sentence="Learned from 1304 repairs of two kinds, 1,204 of them out of files.",
        tested="The newest 1304 repairs, each predicted from those before it only.", result=None,
        finding="Of the times that 90 of 100 repairs were said to keep, 90 of 100 were kept: as it should be. "
        "The usual minutes alone: 93.",
        levels=[dict(zip(keys, row, strict=True)) for row in rows], bars=bars,
        loss="Errors of the nine-of-ten times cost 5.8 minutes a repair (pinball loss, less is good), those of the "
        "usual minutes alone 6.0.",
        kinds=[{"name": "Camera shutter", "sentence": _LEARNED}], dates="iso", new_kinds=False, largest="512 kB",
        orders=[{"code": "iso", "label": "Like 2026-11-25"}, {"code": "dmy", "label": "Like 25.11.2026"}],
        example="kind,minutes,ended\nCamera shutter,41,2026-11-25\nReader battery,24.5,2026-11-25 16:30",
    ) | more  # fmt: skip


def kinds_pages() -> dict[str, tuple[str, Page]]:
    """Name -> (template, context)."""
    wrong = [{"field": "kind-minutes", "text": "This is no whole number from 0 to 10000. Write digits only."}]
    result = {
        "sentence": "1204 repairs read in, three lines refused.",
        "unknown": "Kinds that are not here: Phone glass (2). Add them, or have them made.",
        "refused": [{"line": 7, "why": "minutes: these are no minutes."}, {"line": 9, "why": "ended: this is no day."}],
        "more": "And 14 more.",
    }
    nothing = {"sentence": "Nothing was learned yet: forecasts go by the usual minutes of each kind.", "levels": [],
               "bars": [], "tested": "", "finding": "", "loss": "", "kinds": [], "may_change": False}  # fmt: skip
    no_file = [{"field": "history-file", "text": "No file was chosen. Choose one, then press again."}]
    return {
        "kinds": ("kinds.html", _kinds()),
        "kinds_wrong": ("kinds.html", _kinds(errors=wrong, may_change=False)),
        "history": ("history.html", _history()),
        "history_read": ("history.html", _history(result=result)),
        "history_empty": ("history.html", _history(errors=no_file, **nothing)),
    }
