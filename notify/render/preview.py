"""One message filled with invented facts, on every way it can take: for looking at it, and for checking all texts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import product

from notify.core.errors import NotifyError
from notify.core.notices import NOTICES
from notify.render.email_html import prepare_html
from notify.render.samples import PHONE, SITE, SampleShop, Variant, sample_facts
from notify.render.sms import Count, count
from notify.render.texts import Texts

_ONE = "One text message"
WordsOf = Callable[[str], Callable[..., str]]
# The longest that is usual: names in texts make messages longer than those of most shops would be.
ANY_SHOP = SampleShop(
    {
        "name": "Tramstop Bench", "phone": PHONE, "email": "bench@example.org", "address": "3 Rope Walk, Quillhaven",
        "hours": "09:00-18:00", "url": SITE,
    },
    "Europe/London", "GBP",
)  # fmt: skip
VARIANTS = tuple(Variant(*flags) for flags in product((False, True), repeat=3))


@dataclass(frozen=True, slots=True)
class Wordings:
    """The message texts, the words of a language, and its invented facts (`sample.<language>.toml`).

    `sms_parts` is the most parts of one text message.
    """

    texts: Texts
    words: WordsOf
    invented: WordsOf
    sms_parts: int = 3


@dataclass(frozen=True, slots=True)
class Preview:
    """One message in one language; "" for a way that it never takes.

    `count` sizes the text message. `say` is what staff say on the phone when no way is left.
    """

    notice: str
    language: str
    variant: Variant
    audience: str
    subject: str
    text: str
    html: str
    sms: str
    count: Count | None
    say: str


def fill(
    wordings: Wordings, notice: str, language: str, *, shop: SampleShop, variant: Variant, now: datetime
) -> Preview:
    """Every part of a message that there is a file for. Raises Misconfigured for a text that cannot be filled."""
    facts = sample_facts(
        notice, language=language, words=wordings.words(language), invented=wordings.invented(language), shop=shop,
        now=now, variant=variant,
    )  # fmt: skip

    def part(name: str) -> str:
        if not wordings.texts.has(language=language, notice=notice, part=name):
            return ""
        return wordings.texts.render(language=language, notice=notice, part=name, context=facts)

    sms = ""
    if "sms" in NOTICES[notice].channels and wordings.texts.has(language=language, notice=notice, part="sms"):
        most = wordings.sms_parts
        sms = wordings.texts.text_message(language=language, notice=notice, context=facts, most=most)
    return Preview(
        notice, language, variant, NOTICES[notice].audience, subject=part("subject"), text=part("text"),
        html=prepare_html(part("html")) if part("html") else "", sms=sms, count=count(sms) if sms else None,
        say=part("call"),
    )  # fmt: skip


def faults(wordings: Wordings, languages: Sequence[str], *, now: datetime) -> Iterator[str]:
    """What is wrong with a message in any language and variant, as sentences; each text is filled with every one."""
    for notice, language, variant in product(NOTICES, languages, VARIANTS):
        try:
            fill(wordings, notice, language, shop=ANY_SHOP, variant=variant, now=now)
        except NotifyError as error:
            yield str(error)


def size_in_words(count: Count, *, messages: str = "") -> str:
    """Such as "2 text messages, 214 of 306 characters.", and the sign that makes each hold fewer.

    `messages` says how many they are, where the page has words for numbers.
    """
    many = messages or (_ONE if count.parts == 1 else f"{count.parts} text messages")
    whole = f"{many}, {count.units} of {count.room} characters."
    if count.first_offending is None:
        return whole
    return f"{whole} The sign \u201c{count.first_offending}\u201d makes each hold fewer characters."
