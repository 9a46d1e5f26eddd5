"""The answer to "when?" while a device is being taken in: one sentence, and a press for each time in it."""

from __future__ import annotations

from typing import Any

from notify.flows.view_outlook import Outlook
from notify.web.counter import desk_words as d
from notify.web.counter.forecast_says import kept
from notify.web.pages import desk
from notify.web.say import Say


def answer(found: tuple[Outlook, ...], i: int, say: Say) -> dict[str, Any]:
    """As check_in.html reads it for device `i`: {sentence, offers: [{name, value, label}]}."""
    times = list(dict.fromkeys(one.at for one in found if one.at is not None))
    offers = [{"name": f"take-{i}", "value": say.for_input(at), "label": f"Promise {say.when(at)}"} for at in times]
    return {"sentence": sentence(found, say), "offers": offers}


def sentence(found: tuple[Outlook, ...], say: Say) -> str:
    """By when it would be ready, without a part and with one from each supplier; or why nobody can say."""
    times = [_clause(one, say) for one in found if one.at is not None]
    if not times:
        return d.word("without", str(found[0].without or "other"))
    said = f"If it comes into the line now, it will be ready {'; '.join(times)}. "
    return f"{said}Each {kept(desk().shop.promise_level / 100)}."


def _clause(one: Outlook, say: Say) -> str:
    by = f"by {say.when(one.at)}" if one.at else ""
    return f"{by} with a part ordered now from {one.supplier}" if one.supplier else by
