"""What a restore did, in lines for whoever ran it."""

from __future__ import annotations

from notify.flows import erasure_list
from notify.flows.restore import After


def told(after: After) -> list[str]:
    """What was brought back, what was seen to, and what comes next, a line each."""
    where_any = {
        "Consents to what is optional, not used until given again since one may have been taken back": after.unused,
        "Messages that may have left before, not sent again; the day sheet leads there": after.dropped,
        "People whose key is not in the backup of keys, emptied since nobody can read them any more; with a newer "
        "backup of keys move the data away and restore once more": after.lost,
    }
    lines = [
        *map(_missed, after.missing),
        f"Restored from the backup of {after.made_at:%Y-%m-%d %H:%M} UTC. What changed after it is not in it.",
        f"People forgotten since and taken out again: {after.erased} (of {after.listed} on the list).",
        f"Stops, restrictions and objections said or ended since, that stand again as they did: {after.stopped}.",
        *(f"{what}: {number}." for what, number in where_any.items() if number),
        f"Everybody is signed out ({after.signed_out}).",
    ]
    if not after.proved:
        lines.append("It is not proved yet that nothing readable is left; the service does it within a minute.")
    return [*lines, "Next: shelfbell check, then shelfbell serve."]


def _missed(name: str) -> str:
    whom = "was forgotten" if name.endswith(erasure_list.LIST) else "wanted nothing more"
    return (
        f"{name} is missing: whoever {whom} after the backup was made is back, unless another copy names them. If you "
        "find it, move the data away and restore once more."
    )
