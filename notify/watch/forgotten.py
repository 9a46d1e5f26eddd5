"""What was taken from a watched folder holds many people: it goes as soon as one of the shop's people is forgotten."""

from __future__ import annotations

import contextlib
from pathlib import Path

from notify.flows.context import Context
from notify.flows.since_erased import once_since_erased
from notify.watch import drawers
from notify.watch.whole import Memory

ASKED = 10.0  # seconds after which it is asked anew: an idle folder must cost nothing


def forget_taken(ctx: Context, shop_id: str, folder: Path, memory: Memory, now: float) -> None:
    """Empties the drawer of taken files if anybody was erased since it was done last. The next look makes up for it."""
    drawer = folder / drawers.TAKEN
    due = memory.forgot_at is None or now - memory.forgot_at >= ASKED
    if due and drawer.is_dir():
        with contextlib.suppress(OSError):
            once_since_erased(ctx, shop_id, drawer / ".forgotten", lambda: drawers.empty_taken(folder))
            memory.forgot_at = now
