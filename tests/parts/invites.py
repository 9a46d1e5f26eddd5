"""One made-up pickup invite that tests start from."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from notify.render.invite import Invite

UID = "7d4f0c6e-51c3-4f0e-9a0b-2f6a1c0d9e55"


def an_invite(**changes: Any) -> Invite:
    """The first request for a pickup at Tramstop Bench in Quillhaven, with `changes`."""
    fields: dict[str, Any] = {
        "uid": UID,
        "sequence": 0,
        "dtstamp": datetime(2026, 11, 25, 9, 0, tzinfo=UTC),
        "start": datetime(2026, 11, 26, 10, 0, tzinfo=UTC),
        "end": datetime(2026, 11, 26, 10, 15, tzinfo=UTC),
        "summary": "Pickup at Tramstop Bench",
        "description": "Thursday, 26 November, 10:00 to 10:15 (Europe/London)",
        "location": "Tramstop Bench, 4 Quay Road, Quillhaven",
        "organizer_name": "Tramstop Bench",
        "organizer_address": "pickup-7f3k9q@example.org",
        "attendee_name": "Pat Moss",
        "attendee_address": "pat@example.com",
    }
    return Invite(**(fields | changes))
