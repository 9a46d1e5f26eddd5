"""The pictures of what is held, by name; their words and figures stand in held_says."""

from __future__ import annotations

from notify.flows.view_held import Held
from notify.render.held_charts import draw_columns, draw_yes_no
from notify.web.counter import held_says as says


def draw(name: str, seen: Held, *, dark: bool = False) -> bytes:
    """The picture `ages`, `next` or `consents` as SVG."""
    if name == "ages":
        return draw_columns(says.age_columns(seen), words=says.AGE_WORDS, dark=dark)
    if name == "next":
        return draw_columns(says.next_columns(seen.ahead), words=says.NEXT_WORDS, dark=dark)
    return draw_yes_no(says.consent_bars(seen), words=says.CONSENT_WORDS, dark=dark)
