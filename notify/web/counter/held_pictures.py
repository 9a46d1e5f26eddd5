"""The pictures of what is held, by name; their words and figures stand in held_says."""

from __future__ import annotations

from notify.config.settings import Settings
from notify.core.actors import Actor
from notify.flows.context import Context
from notify.flows.view_held import Held, view
from notify.render.held_charts import draw_columns, draw_yes_no
from notify.web.counter import held_says as says

NAMES = ("ages", "next", "consents")


def draw(name: str, ctx: Context, actor: Actor, settings: Settings, *, dark: bool = False) -> bytes:
    """One of NAMES as SVG. Raises NotAllowed."""
    return of(name, view(ctx, actor, settings), dark=dark)


def of(name: str, seen: Held, *, dark: bool = False) -> bytes:
    """The same from figures that are known."""
    if name == "ages":
        return draw_columns(says.age_columns(seen), words=says.AGE_WORDS, dark=dark)
    if name == "next":
        return draw_columns(says.next_columns(seen.ahead), words=says.NEXT_WORDS, dark=dark)
    return draw_yes_no(says.consent_bars(seen), words=says.CONSENT_WORDS, dark=dark)
