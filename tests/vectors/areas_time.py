"""Adapters for quiet hours, periods and deadlines."""

from __future__ import annotations

from datetime import date, datetime, time
from typing import Any

from notify.core.deadlines import business_days_after, months_after
from notify.core.durations import Period, add, parse_duration, runs_out
from notify.core.errors import Invalid
from notify.core.quiet import allowed_at

# US federal holidays (5 U.S.C. 6103) and bank holidays of England and Wales (gov.uk/bank-holidays), around
# the dates of the cases; both lists from memory, as the cases say of theirs.
HOLIDAYS = {
    None: frozenset[date](),
    "US": frozenset(map(date.fromisoformat, ("2026-06-19", "2026-11-11", "2026-11-26", "2026-12-25", "2027-01-01"))),
    "UK": frozenset(map(date.fromisoformat, ("2026-12-25", "2026-12-28", "2027-01-01"))),
}


def quiet_hours(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """The first allowed instant, and by it whether to send now."""
    assert given["rule"].keys() == {"quiet"}
    start, end = map(time.fromisoformat, given["rule"]["quiet"])
    now = datetime.fromisoformat(given["now_utc"])
    at = allowed_at(now, zones=given["zones"], quiet_from=start, quiet_until=end)
    assert at == datetime.fromisoformat(expect["send_at_utc"]), f"allowed at {at}"
    assert ("send" if at == now else "defer") == expect["action"]


def durations(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """The day on which something need not be kept any more, or a refusal; zero is asked for on purpose."""
    start = date.fromisoformat(given["start"])
    if expect == {"error": True}:
        try:
            parse_duration(given["duration"], allow_zero=True)
        except Invalid:
            return
        raise AssertionError("accepted")
    period = parse_duration(given["duration"], allow_zero=True)
    assert runs_out(start, period, anchor=given["anchor"]) == date.fromisoformat(expect["purge_on"])


def deadlines(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """The last day of a legal deadline."""
    received, holidays = date.fromisoformat(given["received"]), HOLIDAYS[given["holidays"]]
    if given["kind"] == "business_days":
        last = business_days_after(received, given["amount"], holidays=holidays)
    else:
        assert given["kind"] == "calendar_month"
        last = months_after(received, given["amount"], holidays=holidays)
        plain = add(received, Period(months=given["amount"]))
        assert plain == date.fromisoformat(expect["last_day_unadjusted"])
    assert last == date.fromisoformat(expect["last_day"]), f"last day {last}"


AREAS = {"quiet_hours": quiet_hours, "durations": durations, "deadlines": deadlines}
