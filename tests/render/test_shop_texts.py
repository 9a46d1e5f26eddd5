"""Text messages to the shop itself: who and which device, in the space there is, and nothing about the customer."""

from __future__ import annotations

import pytest
import smsutil

from notify.core.languages import LANGUAGES
from notify.core.notices import SHOP_NOTICES
from notify.paths import templates_folder
from notify.render.texts import Texts
from tests.render.contexts import LINK, rich

TEXTS = Texts(templates_folder() / "messages", LANGUAGES)
LONGEST = {"shop": "W" * 80, "device": "W" * 200, "label": "W" * 200}
OF_A_PERSON = ("hold_review_shop", "request_due_shop")  # no device of theirs is meant
FOREIGN = {key: "\N{CYRILLIC CAPITAL LETTER SHCHA}" * len(text) for key, text in LONGEST.items()}


def said(notice: str, language: str, words: dict[str, str] | None = None, *, most: int = 3) -> str:
    context = rich(notice, language)
    if words:
        context |= {"shop": context["shop"] | {"name": words["shop"]}, "device": words["device"]}
        context["answer"] = {"code": "accept", "label": words["label"], "by": ""}
    return TEXTS.text_message(language=language, notice=notice, context=context, most=most)


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("notice", SHOP_NOTICES)
def test_it_fits_whatever_the_names_are_and_bears_nothing_of_the_customer(notice: str, language: str) -> None:
    """smsutil counts independently (GSM 03.38 and UCS-2); one part is one message on the bill."""
    plain = said(notice, language)
    assert (
        "K7M-2X9T" in plain and (notice in OF_A_PERSON or "Lumen 3" in plain) and len(smsutil.split(plain).parts) == 1
    )
    for theirs in ("Pat", "Quill", "900123", "900 123", LINK, "@"):
        assert theirs not in plain, theirs
    assert len(smsutil.split(said(notice, language, LONGEST)).parts) == 1
    assert len(smsutil.split(said(notice, language, FOREIGN)).parts) <= 3  # limits.sms_parts as delivered
    short = said(notice, language, FOREIGN, most=1)
    assert len(smsutil.split(short).parts) == 1 and "K7M-2X9T" in short and smsutil.is_valid_gsm(short)
