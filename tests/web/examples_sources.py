"""Invented contexts for the pages of sources and of what waits of them."""

# ruff: noqa: E501 (rows of example data read best as rows)

from __future__ import annotations

from tests.web.examples_shop import Page, button, line, staff_base


def _sources() -> Page:
    def decide(n: str, main: bool) -> list[Page]:
        return [{"href": f"/doubts/{n}", "label": "Decide", "main": main}]

    return staff_base(
        "settings", sentence="Four changes wait for you. Nothing is guessed, and nothing is lost.", more="One more waits.",
        sources=[
            line("bench", "A folder in which another system leaves files, last read at 17:23.", mark="bell", links=[{"href": "/sources?source=bench", "label": "What waits", "main": False}]),
            line("till", "A table of another database, last read at 9:10. Trouble since 9:12: It does not answer. Look whether the other machine and the network are on.", mark="caution"),
        ],
        doubts=[
            line("Kestrel pocket radio", "bench says “done” of J-77 of 12:10. The Kestrel pocket radio has been on the bench since 12:40, with Ada. Somebody here did something later, or since it was last looked at. Decide which one stands.",
                 mark="question", number="K7M-2X9T", href="/tickets/12", buttons=[button("/doubts/1/take", "Take theirs"), button("/doubts/1/leave", "Leave ours")], links=decide("1", False)),
            line("J-78", "bench says “on the quay” of J-78, seen at 17:02. Nobody here has said yet what “on the quay” means.", mark="question", buttons=[button("/doubts/2/leave", "Leave it")], links=decide("2", True)),
            line("J-79", "bench says “done” of J-79, seen at 17:02. It speaks of a ticket that is not here. Link it to one, or take the device in.", mark="question", buttons=[button("/doubts/3/leave", "Leave it")], links=decide("3", True)),
        ],
    )  # fmt: skip


def _doubt(**more: object) -> Page:
    return staff_base(
        "settings", doubt_id="2", source="bench", is_open=True, number="K7M-2X9T", href="/tickets/12", take="", leave="Leave ours",
        sentence="Nobody here has said yet what “on the quay” means.", there="bench says “on the quay” of J-78, seen at 17:02.",
        ours="The Kestrel pocket radio has been on the bench since 12:40, with Ada.", word="on the quay", can_link=True,
        can_take_in=True, typed={"number": "", "device": "Gull e-reader", "name": "Tomas Reed", "phone": "", "email": "tomas@example.org"},
        cells=[{"label": "Its reference", "text": "J-78"}, {"label": "Its word", "text": "on the quay"}],
        meanings=[{"code": "in_line", "label": "agreed, waits for the bench"}, {"code": "repaired", "label": "on the shelf, repaired"}],
    ) | more  # fmt: skip


def sources_pages() -> dict[str, tuple[str, Page]]:
    """name -> (template, context)."""
    nothing = {
        "sources": [],
        "doubts": [],
        "more": "",
        "sentence": "Everything that other systems told has been taken.",
    }
    return {
        "sources": ("sources.html", _sources()),
        "sources_none": ("sources.html", {**_sources(), **nothing}),
        "doubt": ("doubt.html", _doubt()),
        "doubt_wrong": (
            "doubt.html",
            _doubt(errors=[{"field": "number", "text": "No ticket has this claim number. Read it once more."}]),
        ),
        "doubt_later": (
            "doubt.html",
            _doubt(
                word="",
                meanings=[],
                can_link=False,
                can_take_in=False,
                take="Take theirs",
                sentence="Somebody here did something later. Decide which one stands.",
            ),
        ),
        "doubt_settled": ("doubt.html", _doubt(is_open=False, sentence="This has been decided.")),
    }
