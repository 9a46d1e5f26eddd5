"""The records of erasing: when, why, how many rows, proved when, and until when backups may hold it. No person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from notify.config.settings import Settings
from notify.core.actors import Actor
from notify.core.instants import zone
from notify.flows.by_beginning import the_one
from notify.flows.context import Context
from notify.store import erasing, letters


@dataclass(frozen=True, slots=True)
class Erased:
    """One act of erasing.

    `backups_until` and `keys_until` are the last days on which a backup or a backup of keys that the program made
    before may lie where it puts them; None where it makes none. `mailbox_waits`: letters of people who were
    forgotten, these or others, have not been looked for in the mailbox yet.
    """

    id: str
    at: datetime
    reason: str
    counts: Mapping[str, int]
    confirmed_at: datetime | None
    backups_until: date | None
    keys_until: date | None
    mailbox_waits: bool


def view(ctx: Context, actor: Actor, settings: Settings) -> tuple[Erased, ...]:
    """Every record of the shop, the newest first."""
    actor.need("settings")
    kept = settings.backup
    with ctx.db.read(actor.shop_id) as unit:
        rows, waits, shop = erasing.list_erasures(unit), bool(letters.to_drop(unit)), ctx.shop(unit)

    def last(row: Any, folder: object, days: int) -> date | None:
        """A day more: what was begun on the day itself may have read the rows before."""
        return row.at.astimezone(zone(shop.zone)).date() + timedelta(days=days + 1) if folder is not None else None

    return tuple(
        Erased(row.id, row.at, row.reason, dict(row.counts), row.confirmed_at, last(row, kept.folder, kept.keep_days),
               last(row, kept.keys_folder, kept.keys_keep_days), waits)
        for row in rows
    )  # fmt: skip


def one(ctx: Context, actor: Actor, settings: Settings, beginning: str) -> Erased:
    """The record whose identifier begins so. Raises NotFound, and Conflict for several."""
    found = {row.id: row for row in view(ctx, actor, settings) if row.id.startswith(beginning)}
    return found[the_one([*found], beginning, thing="record of erasing", see="shelfbell erasure list", field="record")]
