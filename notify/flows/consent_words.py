"""The exact words that somebody agrees to: one source for every page, paper and command, kept when first shown."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from notify.core.consent import REPLY_VERSION, SAID, VERSIONS
from notify.flows.context import Context
from notify.store import consents
from notify.store.database import Unit


def sentence(ctx: Context, purpose: str, language: str) -> str:
    """The sentence beside the box of a purpose."""
    return ctx.words(language)[f"consent.{purpose}"]


def shown(ctx: Context, unit: Unit, language: str, *, at: datetime) -> dict[str, str]:
    """Purpose -> the version of the words that stand beside its box; those words are kept from now on."""
    texts = {purpose: sentence(ctx, purpose, language) for purpose in SAID}
    return consents.keep_wordings(unit, VERSIONS, texts, language, at=at)


def in_their_words(ctx: Context, unit: Unit, language: str, *, at: datetime) -> Mapping[str, str]:
    """The same for what somebody wrote: the words are those of the reply that is named as evidence."""
    said = sentence(ctx, "reply", language)
    found = consents.keep_wordings(unit, {"reply": REPLY_VERSION}, {"reply": said}, language, at=at)
    return dict.fromkeys(SAID, found["reply"])
