"""What a shop does with people's data, as plain facts: for the notice to customers and the record of processing.

GDPR art. 13 and 30(1) say what both must hold; their words stand in templates/words. Not legal advice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from notify.core.retention import DATA_CLASSES, Rule
from notify.core.shop import Shop

# Who may get to see what, by what it is for: words `provider.<code>`, each with {name}.
RECIPIENTS = ("mail", "sms", "modem", "mailbox", "listener", "script", "feed", "database", "keys")
# What the program itself does to keep data safe: words `measure.<code>`.
MEASURES = (
    "sealed", "keys_apart", "roles", "looks", "codes", "erased", "tls", "mail_tls", "backup_sealed",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Recipient:
    """Who gets data: a code of RECIPIENTS, and the host or name it goes by."""

    kind: str
    name: str


@dataclass(frozen=True, slots=True)
class Life:
    """How long one kind of data lives: its code, an ISO 8601 period ("" where time does not end it), from where."""

    data_class: str
    period: str
    clock: str
    source: str
    checked_on: date | None


@dataclass(frozen=True, slots=True)
class Processing:
    """Everything that settings, rules and rooms tell. `sources` are names of other systems that tell of devices.

    `uses` are purposes that rest on consent and are in use here; `measures` codes of MEASURES. `backup_days` and
    `key_backup_days` are 0 where no backups are made by the program.
    """

    shop: Shop
    today: date
    rules: Mapping[str, Rule]
    recipients: tuple[Recipient, ...]
    sources: tuple[str, ...]
    uses: tuple[str, ...]
    measures: tuple[str, ...]
    stranger_days: int
    backup_days: int
    key_backup_days: int
    has_claim_pages: bool

    def lives(self) -> tuple[Life, ...]:
        """Every kind of data in the order of the table, then the backups, where any are made."""
        kinds = [self._life(code) for code in DATA_CLASSES]
        days = (("backup", self.backup_days), ("key_backup", self.key_backup_days))
        return (*kinds, *(Life(code, f"P{number}D", "event", "", None) for code, number in days if number))

    def _life(self, code: str) -> Life:
        if rule := self.rules.get(code):
            return Life(code, rule.period, rule.clock, rule.source, rule.checked_on)
        one = DATA_CLASSES[code]
        period = f"P{self.stranger_days}D" if code == "stranger" else ""
        return Life(code, period, "event", one.source, one.checked_on)
