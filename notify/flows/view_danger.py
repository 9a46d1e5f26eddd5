"""Promises that were not or will hardly be kept, for the day sheet: why, and the time that could be named instead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from notify.core.ready import Forecast, Without
from notify.core.shop import Shop
from notify.core.threats import HARDLY, Threat, chance_of, threat
from notify.flows.view_lines import TicketLine
from notify.store import forecast_facts
from notify.store.database import Unit


@dataclass(frozen=True, slots=True)
class InDanger:
    """One promise in danger. `expected` is a later time that could be kept, None if nobody can name one.

    `threat` is None once its time has passed: then it was not kept, and somebody should say when instead.
    """

    ticket: TicketLine
    promise_at: datetime
    threat: Threat | None
    hardly: bool
    expected: datetime | None


def in_danger(
    unit: Unit, shop: Shop, work: Iterable[TicketLine], known: Mapping[str, Forecast], *, now: datetime
) -> tuple[InDanger, ...]:
    """Those that the stored forecasts say it of, the oldest promise first. They stand here until they are changed or
    can be kept again; those whose time has passed until another one is told or the device is ready."""
    promised = [line for line in work if line.promise_at is not None and line.ticket_id in known]
    parts = forecast_facts.missing_parts(unit) if promised else ()
    needed = {part.ticket_id: part.needed_at for part in parts if part.state == "needed"}
    found = [_judged(line, known[line.ticket_id], shop, needed.get(line.ticket_id), now) for line in promised]
    return tuple(sorted((one for one in found if one), key=lambda one: (one.promise_at, one.ticket.number)))


def _judged(
    line: TicketLine, forecast: Forecast, shop: Shop, needed_at: datetime | None, now: datetime
) -> InDanger | None:
    at = line.promise_at
    assert at is not None
    why = threat(forecast, at, now=now, warn=shop.promise_warn / 100, needed_at=needed_at, overrun=False)
    if why is None and (at > now or forecast.without is Without.QUESTION):
        return None
    later = forecast.promise_at if forecast.promise_at and forecast.promise_at > at else None
    return InDanger(line, at, why, chance_of(forecast) < HARDLY, later)
