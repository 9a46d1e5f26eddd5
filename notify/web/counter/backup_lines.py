"""Lines of the day sheet about backups: none lately, and what a restore has left to be done by hand."""

from __future__ import annotations

from notify.flows import view_backup
from notify.flows.view_backup import Backups
from notify.web.counter import desk_words as d
from notify.web.here import ctx, services, shop_id
from notify.web.say import Say


def backup_lines(speak: Say) -> list[d.Line]:
    """Mostly none. Where no folder is named nothing is said here: `shelfbell check` says so, and the owner's page."""
    seen = view_backup.view(ctx(), shop_id())
    wanted = services().settings.backup.folder is not None
    return [*restored(seen, speak), *(trouble(seen, speak) if wanted else [])]


def trouble(seen: Backups, speak: Say) -> list[d.Line]:
    """That there is no good backup of the last night, or that the last try failed."""
    words = d.words()
    if not seen.failed and not seen.late:
        return []
    first = words("backup.failed", when=d.at(speak, seen.failed_at)) if seen.failed else ""
    newest = words("backup.never") if seen.never else words("backup.newest", when=d.at(speak, seen.good_at))
    said = " ".join(part for part in (first, newest, words("backup.look")) if part)
    return [d.sheet_line(words("backup.head"), said, mark="caution")]


def restored(seen: Backups, speak: Say) -> list[d.Line]:
    """That this is a backup, what is not in it, and which messages nobody was sent for it; for some days."""
    if seen.restored_at is None or seen.restored_from is None:
        return []
    words = d.words()
    said = words("backup.restored", made=d.at(speak, seen.restored_from), at=d.at(speak, seen.restored_at))
    lines = [d.sheet_line(words("backup.restored_head"), said, mark="caution")]
    if seen.dropped:
        number = d.capital(d.count(seen.dropped, "message", "messages"))
        link = {"href": "/messages?group=dropped", "label": words("backup.show"), "main": False}
        told = words("backup.dropped", number=number)
        lines.append(d.sheet_line(words("backup.dropped_head"), told, mark="call", links=[link]))
    return lines
