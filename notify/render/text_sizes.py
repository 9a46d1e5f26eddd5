"""What each text message costs on the air, with invented facts: for whoever writes its template."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import product
from typing import Any

from notify.core.notices import NOTICES
from notify.render.preview import ANY_SHOP, Wordings, fill
from notify.render.samples import Variant
from notify.render.sms import Count, count

FOREIGN_DEVICE = "Зенит-Е"  # a name whose letters the 7-bit alphabet lacks


@dataclass(frozen=True, slots=True)
class TextSize:
    """One text message: what it costs with usual names, and with one in another alphabet (`foreign`)."""

    language: str
    notice: str
    text: str
    count: Count
    foreign: Count

    @property
    def place(self) -> int:
        """Where the first sign outside GSM-7 stands, counted from 1; 0 for none."""
        first = self.count.first_offending
        return 0 if first is None else self.text.index(first) + 1

    def place_in_words(self) -> str:
        """Such as "“’” U+2019 at 12"; a dash for none."""
        first = self.count.first_offending
        return "-" if first is None else f"“{first}” U+{ord(first):04X} at {self.place}"

    def as_told(self) -> dict[str, Any]:
        """For programs."""
        return {
            "language": self.language, "notice": self.notice, "text": self.text, "alphabet": self.count.encoding,
            "units": self.count.units, "parts": self.count.parts, "first_outside": self.count.first_offending,
            "place": self.place, "with_foreign_name": {"alphabet": self.foreign.encoding, "parts": self.foreign.parts},
        }  # fmt: skip


def text_sizes(wordings: Wordings, languages: Sequence[str], *, now: datetime) -> tuple[TextSize, ...]:
    """Every notice that may leave as a text message, in every language. Raises Misconfigured for an unsound text."""
    foreign = replace(wordings, invented=lambda language: _foreign(wordings.invented(language)))
    sizes = []
    for language, notice in product(languages, NOTICES):
        text, other = (_text(one, notice, language, now=now) for one in (wordings, foreign))
        if text:
            sizes.append(TextSize(language, notice, text, count(text), count(other)))
    return tuple(sizes)


def _text(wordings: Wordings, notice: str, language: str, *, now: datetime) -> str:
    return fill(wordings, notice, language, shop=ANY_SHOP, variant=Variant(), now=now).sms


def _foreign(invented: Callable[..., str]) -> Callable[..., str]:
    return lambda key, **more: FOREIGN_DEVICE if key.startswith("device.") else invented(key, **more)
