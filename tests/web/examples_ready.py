"""Invented drawings of when something will be ready, as web/counter/forecast_says makes them."""

from __future__ import annotations

from typing import Any

Page = dict[str, Any]

# Today from 9:24 to 18:00, and tomorrow from 9:00 to 18:00: two stretches of open time.
STRETCHES = [[8.0, 115.3], [119.3, 232.0]]


def scale(**more: Any) -> Page:
    """What the drawings of the bench run over."""
    return {
        "stretches": STRETCHES,
        "days": [{"at": 8.0, "label": "today"}, {"at": 117.3, "label": "Fri"}],
        "sentence": "From now until tomorrow, 18:00, in opening hours; a gap is a closing. The stroke is when it is "
        "ready, 8 times in 10, the dot its middle. The flag is the promise, empty when it will hardly be kept.",
        **more,
    }


def drawing(low: float | None, middle: float | None, high: float, label: str, **more: Any) -> Page:
    """One forecast."""
    return {
        "label": label, "stretches": STRETCHES, "low": low, "middle": middle, "high": high, "later": False,
        "promise": None, "flies": "right", "doubtful": False, **more,
    }  # fmt: skip


SOON = drawing(15.0, 24.0, 39.0, "Ready from 10:00 to 12:00, the middle at 10:30, promised for 12:00", promise=40.6)
DOUBTFUL = drawing(58.0, 88.0, 136.0, "Ready from 13:30 to tomorrow, 10:30, the middle at 15:30, promised for 15:00",
                   promise=78.0, doubtful=True)  # fmt: skip
FREE = drawing(122.0, 150.0, 201.0, "Ready from tomorrow, 9:30 to tomorrow, 15:30, the middle at tomorrow, 11:30")
LATER = drawing(160.0, None, 232.0, "Ready from tomorrow, 12:30 to Monday, 30 November, 11:00, the middle at Saturday, "
                "28 November, 10:00, promised for Monday, 30 November, 12:00", later=True, promise=232.0,
                flies="left")  # fmt: skip
BEYOND = drawing(None, None, 232.0, "Ready from Friday, 4 December, 10:00 to Monday, 7 December, 11:30", later=True)
EVERY = (SOON, DOUBTFUL, FREE, LATER, BEYOND)
