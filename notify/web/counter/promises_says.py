"""How promises were kept, in sentences. Shares are said as so many of 100."""

from __future__ import annotations

import math
from datetime import timedelta

from notify.flows.view_promises import Losses, Report
from notify.web.counter import desk_words as d

_EARLY = timedelta(hours=1)
FEW = 10  # below, a share of 100 would pretend more than is known
_LEFT_OUT = {
    "question": "the customer had to answer a question first",
    "unrepaired": "the device could not be repaired, or was not to be",
    "undone": "staff named another time at once",
}


def verdict(seen: Report) -> str:
    """The answer, in one sentence."""
    if not seen.due:
        return "No promise has come due yet, so there is nothing to say."
    share = f"{_hundred(seen.kept / seen.due)} of 100, and with so few it" if seen.due < 200 else (
        f"{_hundred(seen.kept / seen.due)} of 100. The true share")  # fmt: skip
    one = seen.due == 1
    return (
        f"Of {d.count(seen.due, 'promise', 'promises')} whose time has passed, {d.count(seen.kept, '', '').strip()} "
        f"{'was' if seen.kept == 1 or one else 'were'} kept: {share} may be anywhere between {_hundred(seen.low)} and "
        f"{_hundred(seen.high)}."
    )


def against_wanted(seen: Report) -> str:
    """Whether that fits what the shop wants."""
    if not seen.due:
        return f"{_hundred(seen.wanted)} of 100 are meant to be kept."
    if seen.high < seen.wanted:
        return f"That is fewer than the {_hundred(seen.wanted)} of 100 that are meant to be kept, and no accident."
    if seen.low > seen.wanted:
        return (
            f"That is more than the {_hundred(seen.wanted)} of 100 meant to be kept: earlier times could be promised."
        )
    return f"That fits the {_hundred(seen.wanted)} of 100 that are meant to be kept."


def learned(seen: Report) -> str:
    """What is done about it."""
    if seen.learned < (needed := needed_for(seen.wanted)):
        more = d.count(needed - seen.learned, "more forecast", "more forecasts")
        return f"Forecasts are taken as they are; {more} with an outcome, and they are corrected by them."
    if round(seen.level, 3) == round(seen.wanted, 3):
        return "Forecasts are taken as they are: they were right so far."
    when = "only once" if seen.level > seen.wanted else "as soon as"
    return (
        f"Learned from the {d.count(seen.learned, 'newest outcome', 'newest outcomes')}: a time is suggested {when} "
        f"the forecast gives it {_hundred(seen.level)} of 100, which keeps {_hundred(seen.wanted)}."
    )


def needed_for(wanted: float) -> int:
    """How many outcomes the correction needs (forecast/calibration.conformal)."""
    return math.ceil(round(wanted / (1 - wanted), 9))


def apart(seen: Report) -> str:
    """What the picture of promised against ready times says."""
    early = sum(line.ready_at is not None and line.promise_at - line.ready_at > _EARLY for line in seen.lines)
    said = d.capital(d.count(seen.broken, "promise was", "promises were"))
    rest = f"; {d.count(early, 'device was', 'devices were')} ready more than an hour early" if early else ""
    return f"{said} broken{rest}."


def drift(seen: Report) -> str:
    """Whether it is changing."""
    if len(seen.drift.values) < FEW:
        return ""
    now = _hundred(seen.drift.values[-1])
    if not seen.drift.is_out:
        return f"Lately {now} of 100 were kept, the newest counting most. That is within what chance alone does."
    way = "fewer" if seen.drift.values[-1] < seen.drift.low else "more"
    return f"Lately {now} of 100 were kept, the newest counting most. That is {way} than chance explains: look why."


def rows(seen: Report) -> list[tuple[str, str]]:
    """(what, how much) for the table."""
    low, high = _hundred(seen.low), _hundred(seen.high)
    found = [
        ("Promises whose time has passed", str(seen.due)), ("Kept", str(seen.kept)), ("Broken", str(seen.broken)),
        ("Broken and not ready yet", str(seen.unfinished)),
    ]  # fmt: skip
    if seen.due:
        found.append(("Kept, of 100 (95 % sure: from, to)", f"{_hundred(seen.kept / seen.due)} ({low}, {high})"))
    found += [("Meant to be kept, of 100", str(_hundred(seen.wanted))),
              ("Asked of a forecast now, of 100", str(_hundred(seen.level)))]  # fmt: skip
    return found


def scores(seen: Report) -> list[tuple[str, str]]:
    """(what, how much) of how good the forecasts are, for whoever knows such scores; nothing without forecasts."""
    found = seen.losses
    if not found:
        return []
    adaptive = [("The adaptive rule of Gibbs and Candès would ask, of 100", str(_hundred(seen.adaptive)))]
    return [
        ("Promises with a forecast behind them", str(found.of)),
        ("Ready by its time before rounding, of 100", str(_hundred(found.quantile_kept / found.of))),
        ("Open minutes a forecast was off, on the whole (CRPS)", f"{found.crps:.0f}"),
        ("Loss of the promised quantile, open minutes (pinball)", f"{found.pinball:.1f}"),
        ("Error of the chances said: 0 none, 0.25 a coin (Brier)", f"{found.brier:.3f}"),
        *(adaptive if seen.learned >= needed_for(seen.wanted) else []),
    ]


def spread(found: Losses) -> str:
    """What the histogram says."""
    expected = found.of / len(found.pits)
    late, early = found.pits[-1] + found.pits[-2], found.pits[0] + found.pits[1]
    if found.of < 2 * FEW:
        return "There are too few yet to say how the forecasts lie."
    if late > 3 * expected and early > 3 * expected:
        return "Many were ready long before or after what was forecast: forecasts are surer than they should be."
    if late > 4 * expected and late > early:
        return "Many were ready only in the latest fifth of what was forecast, or after it: forecasts are too hopeful."
    if early > 4 * expected:
        return "Many were ready in the earliest fifth of what was forecast: forecasts are too careful."
    return "A fair forecast fills all tenths alike; nothing stands out here."


def tenths(found: Losses) -> list[tuple[str, str]]:
    """(which tenth of the forecast, how many ended there)."""
    edges = [f"{10 * at} to {10 * at + 10}" for at in range(len(found.pits))]
    return [(edge, str(count)) for edge, count in zip(edges, found.pits, strict=True)]


def kinds(seen: Report) -> list[tuple[str, str, str]]:
    """(kind of repair, due, kept); nothing where there is only one."""
    if len(seen.kinds) < 2:
        return []
    return [(one.name or "No kind named", str(one.due), str(one.kept)) for one in seen.kinds]


def causes(seen: Report) -> list[tuple[str, str]]:
    """(why another time was told, how many) of the broken ones."""
    return [(d.word("why", why) if why else "No other time was told", str(number)) for why, number in seen.changed]


def left_out(seen: Report) -> str:
    """What is not counted, and why."""
    whole = sum(seen.left_out.values())
    if not whole:
        return "None is left out."
    parts = [f"{number} because {_LEFT_OUT[why]}" for why, number in sorted(seen.left_out.items())]
    return f"{d.capital(d.count(whole, 'promise is', 'promises are'))} left out: {d.joined(parts)}."


def _hundred(share: float) -> int:
    return round(share * 100)
