"""What a letter says about messages that we sent: the fields of delivery reports (RFC 3464)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, repr=False)
class Report:
    """One recipient's group of a delivery report; each field is a cleaned line, "" where the report has none.

    `action` is in small letters, `status` as written (core/bounces reads it), `recipient` an address, `message_id` that
    of the message it is about with its angle brackets, `diagnostic` at most 200 characters.
    """

    action: str
    status: str
    recipient: str
    message_id: str
    diagnostic: str

    def __repr__(self) -> str:
        return f"Report({self.action}, {self.status})"  # addresses must not reach a log
