"""Invented contexts for the pages of requests about one's own data, for customers and for the shop."""

from __future__ import annotations

from tests.web.examples_claim import AFTER, CLAIM, Page, base, words
from tests.web.examples_shop import staff_base as shop_base


def _rights(language: str, **more: object) -> Page:
    w = words(language)
    row = [(w["held_field"]["channel"], "E-mail"), (w["held_field"]["address"], "pat.quill@example.org")]
    long = [(w["held_field"]["words"], "Donaudampfschifffahrtselektrizitaetenhauptbetriebswerk " * 4)]
    page = base(
        language,
        kept=w["rights"]["goes_open"].format(after=AFTER[language]),
        against=w["rights"]["erasure_against"].format(reasons=w["rights_why"]["open"]),
        sections=[{"title": w["held"]["contacts"], "rows": [row, row]}, {"title": w["held"]["notes"], "rows": [long]}],
        copy_action=f"{CLAIM}/rights/copy", ask_action=f"{CLAIM}/rights/ask",
        withdraw_action=f"{CLAIM}/rights/withdraw", back_href=CLAIM,
        asked=[
            {"id": "4", "title": w["rights_kind"]["erasure"], "when": "17:20", "can_withdraw": True,
             "sentence": w["rights"]["unproved"]},
            {"id": "3", "title": w["rights_kind"]["objection"], "when": "16:20", "can_withdraw": False,
             "sentence": w["rights"]["refused"].format(reason=w["rights_reason"]["unfounded"])},
        ],
    )  # fmt: skip
    return {**page, **more}


def _one(number: int, **more: object) -> Page:
    return {
        "id": str(number), "kind": "To be forgotten", "article": "GDPR art. 17", "who": "Pat Quill",
        "number": "K7M-2X9T", "ticket_href": "/tickets/12", "href": f"/requests/{number}", "how": "By post",
        "received": "25 November 2026", "due": "Answer by Friday, 25 December 2026: 30 days left.", "late": False,
        "next": "Make sure first who asks.", "by": "Ada Quill", **more,
    }  # fmt: skip


_ASIDE = _one(4, kind="To set their data aside", article="GDPR art. 18", next="",
              due="Their data are set aside since 25 November 2026.")  # fmt: skip


def _list(**more: object) -> Page:
    choice = [{"code": "access", "label": "To see what is kept"}]
    late = _one(1, late=True, due="Late by two days: it had to be answered by Friday, 25 December 2026. Answer it now.")
    return shop_base(
        "", sentence="Two requests wait for an answer.", advice="This is not legal advice: check your local law.",
        open=[late, _one(2)], in_force=[_ASIDE],
        ended=[_one(3, due="Refused. There is plainly no ground for it.", next="")],
        typed=dict.fromkeys(("number", "who", "kind", "how", "note", "made_sure", "received_on"), ""), kinds=choice,
        ways=choice, who=choice, **more,
    )  # fmt: skip


def _request(**more: object) -> Page:
    page = shop_base(
        "", one=_one(2), note="forget me\nmade sure: showed a passport", is_open=True, in_force=False, does="",
        proved=False, is_erasure=False,
        is_correction=True, may_extend=True, may_settle=True, may_export=True,
        advice="This is not legal advice: check your local law.",
        reasons=[{"code": "unfounded", "label": "there is plainly no ground for it"}],
    )  # fmt: skip
    return {**page, **more}


def request_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    wrong = [{"field": "new-note", "text": "What is to be corrected? Write what is wrong, and what is right."}]
    no_words = [{"field": "prove-made_sure", "text": "How did you make sure who asks? Write it in a few words."}]
    return {
        "rights": ("rights.html", _rights("en")),
        "rights_de": ("rights.html", _rights("de", asked=[], against="")),
        "rights_it": ("rights.html", _rights("it")),
        "requests": ("requests.html", _list()),
        "requests_wrong": ("requests.html", {**_list(), "errors": wrong}),
        "requests_empty": ("requests.html", {**_list(), "open": [], "in_force": [], "ended": []}),
        "request": ("request.html", _request()),
        "request_wrong": ("request.html", _request(errors=no_words)),
        "request_proved": ("request.html", _request(proved=True)),
        "request_restriction": (
            "request.html",
            _request(proved=True, is_correction=False, does="Only what is needed."),
        ),
        "request_in_force": ("request.html", _request(one=_ASIDE, is_open=False, in_force=True, may_export=False)),
        "request_over": ("request.html", _request(is_open=False, note="", may_export=False)),
    }
