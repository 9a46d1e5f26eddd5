"""The erasure list beside the backups: who was forgotten since any of them, so that a restore leaves them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from notify.core.erasure_list import as_text, read_octets, united
from notify.flows.context import Context
from notify.store import lists_beside, restoring, shops
from notify.store.key_rings import Ring

LIST = "erased.txt"


def keep(ctx: Context, folders: Sequence[Path]) -> int:
    """Writes the list into these folders where they are there, with whom it named already; how many stand on it.

    Whoever has a key again since (a source's next day, somebody of the staff) is not erased any more. A customer never
    gets another key: one who has it came back with an older copy of the keys, and stays on the list.
    """
    there = [folder for folder in folders if folder.is_dir()]
    ring = ctx.db.vault.index_keys()
    listed = united(dict(ctx.db.vault.erased()), *(read(folder, ring) for folder in there))
    again = ctx.db.vault.with_keys(listed)
    alive = again - restoring.customers_among(ctx.db, shops.shop_ids(ctx.db), again) if again else again
    text = as_text({who: at for who, at in listed.items() if who not in alive}).encode()
    lists_beside.write(there, LIST, text, ctx.db.vault.index_key())
    return len(listed) - len(alive)


def keep_if_newer(ctx: Context, folders: Sequence[Path], seen: dict[str, object]) -> None:
    """The same unless nothing has changed since the caller's last look, which `seen` remembers: asked each minute.

    A list of 100,000 takes half a second of a core.
    """
    lists_beside.keep_if_newer(LIST, seen, stamps=lambda: _stamps(ctx, folders), keep=lambda: keep(ctx, folders))


def proved(ctx: Context) -> bytes:
    """The list of the key store as it goes into a backup."""
    text = as_text(dict(ctx.db.vault.erased())).encode()
    return lists_beside.signed(text, LIST, ctx.db.vault.index_key())


def read(folder: Path, ring: Ring) -> Mapping[str, datetime]:
    """The list of a folder; nobody where there is none. Raises Invalid when no index key of the ring proves it."""
    return read_octets(lists_beside.read(folder, LIST, ring))


def read_proved(octets: bytes, ring: Ring) -> Mapping[str, datetime]:
    """The list in a file's octets. Raises Invalid as `read` does."""
    return read_octets(lists_beside.proved(octets, LIST, ring))


def _stamps(ctx: Context, folders: Sequence[Path]) -> tuple[object, object]:
    """What changes with the list of the key store, with its key, or with a copy of it in a folder."""
    known = (ctx.db.vault.erased_stamp(), ctx.db.vault.index_key().id)
    return known, lists_beside.stamp(folders, LIST)
