"""How long somebody worked on a device, told from its story: open seconds on the bench, less the waiting for an answer.

The rule: work runs from the move onto the bench until the move off it, while the shop is open, and stands still while
a question to the customer is open. A move that was taken back never was: one off the bench that is undone at once
interrupts nothing, one that is corrected later leaves the time between out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta

from notify.core.events import Event
from notify.core.hours import Counter, spans_on
from notify.core.hours import Span as OpenSpan
from notify.core.instants import zone
from notify.core.tickets import MOVE_EVENTS, Phase

Span = tuple[datetime, datetime]
_OPENS = frozenset({"question_asked", "answer_taken_back"})
_CLOSES = frozenset({"question_answered", "question_withdrawn", "question_expired"})
_DAY = timedelta(days=1)
_LONGEST = timedelta(days=400)  # a device forgotten on the bench: no forecast learns from it


def work_spans(story: Sequence[Event], ticket_id: str, *, until: datetime, at_once: timedelta) -> tuple[Span, ...]:
    """The spans of wall time in which hands were on that device, in order; a stint that runs ends `until`.

    `story` in the order of recording; moves undone within `at_once` interrupt nothing.
    """
    mine = [event for event in story if event.ticket_id == ticket_id]
    gaps = sorted([*waiting_for_answer(mine, until), *corrected_late(mine, at_once)])
    return tuple(piece for stint in _stints(mine, until) for piece in without(stint, gaps))


def open_seconds(counter: Counter, spans: Iterable[Span]) -> int:
    """Whole seconds of the spans in which the shop is open."""
    days: dict[date, tuple[OpenSpan, ...]] = {}  # stints often lie on one day
    return int(sum(_open_within(counter, start, end, days) for start, end in spans))


def without(span: Span, gaps: Iterable[Span]) -> Iterator[Span]:
    """What is left of a span when the gaps (in order of their beginning) are taken out."""
    start, end = span
    for gap_start, gap_end in gaps:
        if start < min(gap_start, end):
            yield start, min(gap_start, end)
        start = max(start, gap_end)
    if start < end:
        yield start, end


def _stints(mine: Sequence[Event], until: datetime) -> Iterator[Span]:
    undone = {event.codes.get("undoes") for event in mine if event.kind == "corrected"}
    began: datetime | None = None
    for event in mine:
        if event.kind not in MOVE_EVENTS or event.id in undone:
            continue
        if began is not None:
            yield began, event.at
        began = event.at if event.codes.get("to") == Phase.ON_BENCH else None
    if began is not None:
        yield began, until


def waiting_for_answer(mine: Sequence[Event], until: datetime) -> Iterator[Span]:
    """While each question was open. A yes that is taken back after the question's end opens nothing."""
    asked: dict[object, datetime] = {}
    for event in mine:
        question = event.codes.get("question")
        if event.kind in _OPENS and event.codes.get("open", 1):
            asked.setdefault(question, event.at)
        elif event.kind in _CLOSES and question in asked:
            yield asked.pop(question), event.at
    yield from ((since, until) for since in asked.values())


def corrected_late(mine: Sequence[Event], at_once: timedelta) -> Iterator[Span]:
    """Between a move and its late correction nobody knows what was done."""
    told = {event.id: event for event in mine}
    for event in mine:
        wrong = told.get(str(event.codes.get("undoes", ""))) if event.kind == "corrected" else None
        if wrong is not None and event.at - wrong.at > at_once:
            yield wrong.at, event.at


def _open_within(counter: Counter, start: datetime, end: datetime, known: dict[date, tuple[OpenSpan, ...]]) -> float:
    end = min(end, start + _LONGEST)
    tz = zone(counter.zone)
    day, last, seconds = start.astimezone(tz).date(), end.astimezone(tz).date(), 0.0
    while day <= last:
        if day not in known:
            known[day] = spans_on(counter, day)
        for span in known[day]:
            seconds += max(0.0, (min(end, span.end_utc) - max(start, span.start_utc)).total_seconds())
        day += _DAY
    return seconds
