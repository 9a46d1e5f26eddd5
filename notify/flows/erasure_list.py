"""The erasure list beside the backups: who was forgotten since any of them, so that a restore leaves them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from notify.core.erasure_list import as_text, read_octets, united
from notify.flows.context import Context
from notify.store import lists_beside, restoring, shops

LIST = "erased.txt"


def keep(ctx: Context, folders: Sequence[Path]) -> int:
    """Writes the list into these folders where they are there, with whom it named already; how many stand on it.

    Whoever has a key again since (a source's next day, somebody of the staff) is not erased any more. A customer never
    gets another key: one who has it came back with an older copy of the keys, and stays on the list.
    """
    there = [folder for folder in folders if folder.is_dir()]
    listed = united(dict(ctx.db.vault.erased()), *map(read, there))
    again = ctx.db.vault.with_keys(listed)
    alive = again - restoring.customers_among(ctx.db, shops.shop_ids(ctx.db), again) if again else again
    lists_beside.write(there, LIST, as_text({who: at for who, at in listed.items() if who not in alive}).encode())
    return len(listed) - len(alive)


def keep_if_newer(ctx: Context, folders: Sequence[Path], seen: dict[str, object]) -> None:
    """The same, if somebody was erased who does not stand on it yet: asked each minute.

    `seen` is what the caller remembers from one look to the next: while neither list has changed, none is read (a
    list of 100,000 takes half a second of a core).
    """
    there = [folder for folder in folders if folder.is_dir()]
    if seen.get(LIST) == _stamps(ctx, there):
        return
    erased = {who for who, _ in ctx.db.vault.erased()}
    if erased and any(erased - read(folder).keys() - ctx.db.vault.with_keys(erased) for folder in there):
        keep(ctx, there)
    seen[LIST] = _stamps(ctx, there)


def read(folder: Path) -> Mapping[str, datetime]:
    """The list of a folder; nobody where there is none. Raises Invalid when it is damaged."""
    file = folder / LIST
    return read_octets(file.read_bytes()) if file.is_file() else {}


def _stamps(ctx: Context, folders: Sequence[Path]) -> object:
    """What changes with the list of the key store, or with a copy of it in a folder."""
    return ctx.db.vault.erased_stamp(), lists_beside.stamp(folders, LIST)
