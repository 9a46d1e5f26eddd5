"""Every picture of the reports by name: drawn for a page or a file, and told in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from notify.core.actors import Actor
from notify.flows import view_load, view_promises, view_time
from notify.flows.context import Context
from notify.render.bench_charts import draw_load, draw_time
from notify.web.counter import load_says, promise_pictures, time_says

Drawn = tuple[bytes, str]
NAMES = ("bench", "promises", "pit", "drift", "time")


def draw(name: str, ctx: Context, actor: Actor, *, dark: bool = False) -> Drawn:
    """One of NAMES as SVG, and the same in words. Raises NotAllowed."""
    return _DRAWN[name](ctx, actor, dark)


def shown(path: str, alt: str) -> dict[str, str]:
    """What templates/pages/_chart.html asks for."""
    return {"src": f"{path}.svg", "dark_src": f"{path}.svg?shade=dark", "alt": alt}


def _bench(ctx: Context, actor: Actor, dark: bool) -> Drawn:
    seen = view_load.view(ctx, actor)
    return draw_load(load_says.bars(seen), words=load_says.WORDS, dark=dark), load_says.in_words(seen)


def _time(ctx: Context, actor: Actor, dark: bool) -> Drawn:
    seen = view_time.view(ctx, actor)
    return draw_time(time_says.bars(seen), words=time_says.WORDS, dark=dark), time_says.in_words(seen)


def _promises(ctx: Context, actor: Actor, dark: bool) -> Drawn:
    seen = view_promises.view(ctx, actor)
    return promise_pictures.dots(seen, dark=dark), promise_pictures.dots_in_words(seen)


def _pit(ctx: Context, actor: Actor, dark: bool) -> Drawn:
    seen = view_promises.view(ctx, actor)
    return promise_pictures.pits(seen, dark=dark), promise_pictures.pits_in_words(seen.losses)


def _drift(ctx: Context, actor: Actor, dark: bool) -> Drawn:
    seen = view_promises.view(ctx, actor)
    return promise_pictures.drift(seen, dark=dark), promise_pictures.drift_in_words(seen)


_DRAWN: dict[str, Callable[[Any, Any, bool], Drawn]] = {
    "bench": _bench, "time": _time, "promises": _promises, "pit": _pit, "drift": _drift,
}  # fmt: skip
