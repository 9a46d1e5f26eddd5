"""Invented contexts for the pages of devices that nobody collects."""

# ruff: noqa: E501 (rows of example data read best as rows)

from __future__ import annotations

from typing import Any

from tests.web.examples_shop import CAUTIONS, Page, line, staff_base


def _list(**more: Any) -> Page:
    page = staff_base(
        "uncollected",
        sentence="Two devices are overdue: every reminder has had its day.",
        rule="The rule that counts: Quay law.",
        everything=False,
        hidden="Four more devices are on the shelf.",
        lines=[
            line("Harbour 3 radio", "Pat Marlow. On the shelf for 97 days, since 22 August 2026. Told on 22 August 2026 by text message; three reminders have left since. The period is over since 20 November 2026: a person may decide.",
                 mark="on_shelf", number="K7M-2X9T", href="/uncollected/12", place="Place: B3"),
            line("Fenlight e-reader", "Noor Vale. On the shelf for 31 days, since 27 October 2026. They have not been told. Missed twice: call them. No word that it is ready has really reached them, so no period has begun. Reach them first.",
                 mark="on_shelf", number="T3N-6W8L", href="/uncollected/14", place="Place: metal box", flag="Battery swollen: do not charge"),
        ],
        kept=[
            line("Foolscap e-reader", "Casimir Blunt. Closed as never collected on 21 November 2026; their data are kept. Look at it again by 21 November 2027.",
                 mark="left_behind", number="H6X-3K2P", href="/tickets/16"),
        ],
    )  # fmt: skip
    return {**page, **more}


def _one(**more: Any) -> Page:
    codes = ("notice_printed", "notice_given", "answered", "wiped", "no_data", "cautions_read", "money_noted")
    page = staff_base(
        "uncollected", ticket_id="14", number="T3N-6W8L", device="Fenlight e-reader", who="Noor Vale",
        days="On the shelf for 31 days.", told="Told on 27 October 2026 by e-mail; three reminders have left since.",
        missed="Missed twice: call them.", money="£24.00 to pay.", review="Look again why it is kept by 27 October 2027.",
        sentence="The notice was given on 14 November 2026. A person may decide from 13 December 2026.",
        flag="Battery swollen: do not charge", cautions=CAUTIONS,
        noted=["The draft was printed: 13 November 2026, noted by Ada.",
               "The notice was given, by registered post: 14 November 2026, noted by Ada."],
        checks=[{"label": "The day that the rule names has come", "done": False}, {"label": "The notice was given", "done": True},
                {"label": "It was wiped, or holds nothing that anybody stored", "done": False},
                {"label": "The cautions were read", "done": False}, {"label": "What is owed was noted", "done": False}],
        may_leave=True, typed={"step": "", "on": "2026-11-27", "how": "", "reason": "", "note": "", "sure": False},
        steps=[{"code": code, "label": code.replace("_", " ").capitalize()} for code in codes],
        ways=[{"code": "by_hand", "label": "By hand"}, {"code": "registered_post", "label": "By registered post"}],
        reasons=[{"code": "local_steps_done", "label": "Local steps done"}, {"code": "other", "label": "Another reason"}],
    )  # fmt: skip
    return {**page, **more}


def _one_wrong() -> Page:
    typed = {"step": "notice_given", "on": "2026-12-31", "how": "", "reason": "other", "note": "moved", "sure": True}
    errors = [
        {"field": "step-on", "text": "That day lies outside the time on the shelf. Use 2026-10-27 to 2026-11-27."},
        {"field": "leave-note", "text": "It cannot be closed as never collected yet: nobody noted what is owed."},
    ]
    return _one(typed=typed, errors=errors)


def _rules(**more: Any) -> Page:
    rule = {"code": "", "name": "", "notice_after_days": "", "wait_days": "", "form": "", "source": "", "checked_on": "",
            "verified": False, "active": False}  # fmt: skip
    page = staff_base(
        "uncollected", may_change=True, is_known=False, rule=rule,
        rules=[
            {"code": "quay", "name": "Quay law", "sentence": "The notice may be given 14 days after they were told; a person may decide 28 days after it. This one counts.",
             "form": "In writing, by hand.", "source": "Quay Act, s. 1", "checked": "Read on 20 November 2026."},
            {"code": "ferry", "name": "Ferry law", "sentence": "The notice may be given once they were told; a person may decide 92 days after it. Not verified.",
             "form": "By registered post.", "source": "Ferry Act, s. 12", "checked": ""},
        ],
    )  # fmt: skip
    return {**page, **more}


def _rules_wrong() -> Page:
    rule = {"code": "ferry", "name": "Ferry law", "notice_after_days": "x", "wait_days": "92", "form": "", "source": "Ferry Act",
            "checked_on": "", "verified": False, "active": True}  # fmt: skip
    errors = [{"field": "rule-notice_after_days", "text": "This is no whole number from 0 to 10000. Write digits only."},
              {"field": "rule-verified", "text": "This rule was not verified, so it cannot be switched on."}]  # fmt: skip
    return _rules(rule=rule, is_known=True, errors=errors)


def uncollected_pages() -> dict[str, tuple[str, Page]]:
    """Example name -> (template, context)."""
    empty = _list(lines=[], kept=[], hidden="", everything=True, sentence="Nothing is overdue.",
                  rule="No rule of the law is verified and switched on: days are counted, and nothing follows from them.")  # fmt: skip
    return {
        "uncollected": ("uncollected.html", _list()),
        "uncollected_empty": ("uncollected.html", empty),
        "uncollected_one": ("uncollected_one.html", _one()),
        "uncollected_one_wrong": ("uncollected_one.html", _one_wrong()),
        "uncollected_one_bare": (
            "uncollected_one.html",
            _one(noted=[], missed="", review="", flag="", may_leave=False),
        ),
        "uncollected_rules": ("uncollected_rules.html", _rules()),
        "uncollected_rules_wrong": ("uncollected_rules.html", _rules_wrong()),
        "uncollected_rules_read_only": ("uncollected_rules.html", _rules(may_change=False)),
    }
