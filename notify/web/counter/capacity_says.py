"""The counter's capacity in sentences."""

from __future__ import annotations

from notify.flows.view_capacity import Capacity, Figure, Row
from notify.web.counter import desk_words as d

SLOT_NAMES = {15: "quarter of an hour", 30: "half an hour", 60: "hour"}
MOST_DRAWN = 8


def _slot(seen: Capacity) -> str:
    known = {15: "each quarter of an hour", 30: "each half hour", 60: "each hour"}
    return known.get(seen.slot_minutes, f"every {seen.slot_minutes} minutes")


def _of_100(share: float) -> str:
    hundred = round(share * 100)
    return d.count(hundred, "", "").strip() + " of 100" if share == 0 or hundred else "fewer than one of 100"


def _limit(seen: Capacity) -> str:
    return d.count(int(seen.limit), "minute", "minutes")


def _row(seen: Capacity, per_slot: int) -> Row | None:
    return next((row for row in seen.rows if row.per_slot == per_slot), None)


def advice(seen: Capacity) -> str:
    """The recommendation, in one sentence."""
    who = d.count(int(seen.people.value), "person", "people")
    best, beyond = _row(seen, seen.best), _row(seen, seen.best + 1)
    if best is None:
        share = _of_100(beyond.over) if beyond else "too many"
        return (
            f"With {who} at the counter even one time {_slot(seen)} is too many: {share} would wait more than "
            f"{_limit(seen)}. Give longer slots, or put one more person there."
        )
    more = f"; with {d.count(seen.best + 1, '', '').strip()} it would be {_of_100(beyond.over)}" if beyond else ""
    return (
        f"With {who} at the counter, give {d.count(seen.best, 'time', 'times')} {_slot(seen)}: {_of_100(best.over)} "
        f"would wait more than {_limit(seen)}{more}."
    )


def now(seen: Capacity) -> str:
    """What the hours say today."""
    if seen.now is None:
        return "The counter is not open in the coming week."
    if seen.now == seen.best:
        return "That is what the hours say already."
    row = _row(seen, seen.now)
    share = f": {_of_100(row.over)} would wait that long" if row else ""
    return f"The hours say {d.count(seen.now, 'person', 'people')} at once{share}."


def split(seen: Capacity) -> str:
    """What asking every second person for the middle of the slot would bring; "" where it brings nothing."""
    half = seen.slot_minutes // 2
    if seen.split > seen.best and seen.best:
        more = d.count(seen.split, "person fits", "people fit")
        return f"If every second person is asked for :{half:02d} instead of :00, {more} as well. It costs nothing."
    beyond = _row(seen, seen.best + 1)
    if beyond and seen.best and beyond.over - seen.split_over >= 0.1:
        return (
            f"If every second person is asked for :{half:02d} instead of :00, one more would make "
            f"{_of_100(seen.split_over)} wait instead of {_of_100(beyond.over)}."
        )
    return ""


def without(seen: Capacity) -> str:
    """What the counter could serve if nobody had a time, and so why times help."""
    return (
        f"Without any times, only {seen.without_times:.1f} people {_slot(seen)} could come as they like for the same "
        "waiting (Erlang's formula for a line without appointments)."
    )


def figures(seen: Capacity) -> list[d.Line]:
    """Each figure with what it rests on: {name, label, hint}."""
    labels = (
        ("people", "People at the counter", seen.people), ("minutes", "Minutes for one handover", seen.minutes),
        ("spread", "Minutes early or late", seen.spread), ("no_show", "Of 100 with a time, do not come", seen.no_show),
        ("walk_ins", f"Without a time, {_slot(seen)}", seen.walk_ins),
    )  # fmt: skip
    return [{"name": name, "label": label, "hint": _rests(name, figure)} for name, label, figure in labels]


def _rests(name: str, figure: Figure) -> str:
    seen = {
        "minutes": ("handover that was measured", "handovers that were measured"),
        "spread": ("pickup that was kept", "pickups that were kept"),
        "no_show": ("pickup", "pickups"), "walk_ins": ("handover without a time", "handovers without a time"),
    }.get(name, ("", ""))  # fmt: skip
    if figure.basis == "tried":
        return "Tried; nothing is stored"
    if figure.basis == "set":
        return "As the settings say"
    of = d.count(figure.of, *seen)
    if figure.basis == "own":
        careful = ", counted carefully" if name == "no_show" else ""
        return f"From {of} of the last 90 days{careful}"
    return f"Assumed: {of} so far is too few" if figure.of else f"Assumed: there are {of} yet"


def as_typed(name: str, seen: Capacity) -> str:
    """The figure as it stands in its field."""
    value = getattr(seen, name).value * (100 if name == "no_show" else 1)
    return f"{value:g}"


def drawn(seen: Capacity) -> tuple[Row, ...]:
    """The rows that are shown: around the recommended one where there are many."""
    first = max(0, min(len(seen.rows) - MOST_DRAWN, seen.best - MOST_DRAWN // 2))
    return seen.rows[first : first + MOST_DRAWN]


def table(seen: Capacity) -> list[d.Line]:
    """The numbers beside the picture."""
    return [
        {"per_slot": str(row.per_slot), "over": f"{row.over * 100:.0f}" if row.over >= 0.005 or not row.over else "< 1",
         "mean": f"{row.mean:.1f}", "best": row.per_slot == seen.best}
        for row in drawn(seen)
    ]  # fmt: skip


def picture(seen: Capacity) -> tuple[str, str, str]:
    """What stands in the picture: over it, about its line, under it."""
    return (
        f"of 100 people wait more than {_limit(seen)}", f"dashed line: no more than {seen.target * 100:.0f}",
        f"people with a time, {_slot(seen)}",
    )  # fmt: skip


def in_words(seen: Capacity) -> str:
    """The picture for whoever does not see it."""
    bars = d.joined(f"{_of_100(row.over)} with {row.per_slot}" for row in drawn(seen))
    return f"How many wait more than {_limit(seen)}, by people with a time {_slot(seen)}: {bars}."
