"""What one operation of the API is handed and what it gives back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from notify.core.actors import Actor
from notify.flows.context import Context
from notify.web.api.reading import read_instant


@dataclass(frozen=True, slots=True)
class Call:
    """One call: who, the places of the address, its parameters, and the body, checked against the shapes.

    `seen` is the version of the ticket that the caller decided on, or None for any.
    """

    ctx: Context
    actor: Actor
    name: str
    at: Mapping[str, str]
    query: Mapping[str, Any]
    body: Mapping[str, Any] = field(repr=False)
    seen: int | None = None

    @property
    def sees_contacts(self) -> bool:
        """Whether names, addresses and notes may be told."""
        return self.actor.may("see_contact")

    def instant(self, name: str) -> datetime | None:
        """A time of the body, or None."""
        return read_instant(self.body[name]) if name in self.body else None


Do = Callable[[Call], Mapping[str, Any]]


def when(moment: datetime | None) -> str | None:
    """An instant as RFC 3339 says, in UTC; None for none."""
    return moment.isoformat().replace("+00:00", "Z") if moment else None
