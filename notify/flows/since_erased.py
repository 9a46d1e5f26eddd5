"""Files with many people's data in one: they go as a whole when anybody was forgotten after they were written.

Whose lines stand in them is known to nobody any more once somebody is forgotten, so none is rewritten.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from notify.flows.context import Context
from notify.store import overview


def once_since_erased(ctx: Context, shop_id: str, mark: Path, act: Callable[[], object]) -> bool:
    """Calls `act` if anybody of the shop was erased since it was called last; whether it did.

    What it was called for stands in the file `mark`, written after it: cut off in between, it is called again. Compared
    is not the time but what it says, so that no clock has to be right. Raises OSError.
    """
    with ctx.db.read(shop_id) as unit:
        newest = overview.newest_erasure(unit)
    if not newest or (mark.is_file() and not mark.is_symlink() and mark.read_text("ascii", "replace") == newest):
        return False
    act()
    handle = os.open(mark, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as out:
        out.write(newest)
    return True
