"""What a record of erasing says, on the page and in the command: no more than is known, and what is out of reach."""

from __future__ import annotations

from notify.flows.view_erasures import Erased
from notify.web.counter import desk_words as d
from notify.web.counter.held_says import ERASED
from notify.web.say import Say

_TABLES = {
    "people": "people, with those who collected for them", "contacts": "addresses and numbers",
    "tickets": "devices and what was said of them", "messages": "messages", "replies": "letters and texts from them",
    "notes": "notes", "questions": "questions", "parts": "names of parts", "passes": "passes",
    "contact_codes": "contact codes", "consents": "lines of consent, of which the words stay",
    "receipts": "answers of mail servers", "doubts": "changes that other systems told", "data_holds": "reasons to keep",
    "requests": "requests by law, of which kind and days stay", "copies": "copies of messages on this machine",
    "delegates": "people named to collect",
}  # fmt: skip
# What the program cannot reach, whoever asks.
OUT_OF_REACH = (
    "invites that stand in their own calendar",
    "mail and text messages that were sent, and what servers on the way kept",
    "a text gateway's own copy", "paper: claim tickets, printed lists, labels",
    "letters that staff moved into other folders or answered from a mail program of their own",
    "lines that could not be read, in the folder for refused lines of a watched folder, until their days are over",
    "blocks that a flash disk or a copying file system has set aside",
)  # fmt: skip


def why(one: Erased) -> str:
    """ "They asked for it"."""
    return d.capital(ERASED.get(one.reason, "it was due"))


def counts(one: Erased) -> list[tuple[str, str]]:
    """(what, how many rows)."""
    return [
        (d.capital(_TABLES.get(name, name.replace("_", " "))), str(n)) for name, n in sorted(one.counts.items()) if n
    ]


def proved(one: Erased, say: Say) -> str:
    """Whether the bytes are known to be gone."""
    if one.confirmed_at is None:
        return "The keys are destroyed and the rows are emptied. That nothing is left in the files is not proved yet."
    return (
        f"The keys are destroyed, the rows are emptied, and the database files were rewritten without them: "
        f"{d.dated(say, one.confirmed_at)}."
    )


def backups(one: Erased) -> list[str]:
    """Until when copies may still hold it."""
    told = [
        "The program makes no backups here. Copies that you make yourself hold it as long as you keep them."
        if one.backups_until is None
        else f"A backup that the program made before may still hold it, locked, until {d.day(one.backups_until)}, "
        "if nobody copied it elsewhere."
    ]
    if one.keys_until is not None:
        told.append(f"A backup of keys from before may still open it until {d.day(one.keys_until)}.")
    told.append("After a backup is restored by the program, whoever is on the list of erasures is erased again first.")
    if one.mailbox_waits:
        told.append("Letters of people who were forgotten still wait to be taken out of the mailbox.")
    return told
