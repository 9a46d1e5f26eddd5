"""What another system's database refuses, in words: which sort of trouble, and what to do. Never what it quoted."""

from __future__ import annotations

import re
import sqlite3
from typing import Any

from notify.core.sources import SourceTrouble, Trouble

_SQLITE = {
    sqlite3.SQLITE_BUSY: "locked", sqlite3.SQLITE_LOCKED: "locked", sqlite3.SQLITE_INTERRUPT: "slow",
    sqlite3.SQLITE_CANTOPEN: "away", sqlite3.SQLITE_IOERR: "away", sqlite3.SQLITE_NOTADB: "no_database",
    sqlite3.SQLITE_CORRUPT: "no_database", sqlite3.SQLITE_AUTH: "writes", sqlite3.SQLITE_READONLY: "writes",
    sqlite3.SQLITE_PERM: "refused",
}  # fmt: skip
# SQLSTATE, the longest beginning that fits (postgresql.org/docs, appendix A).
_POSTGRES = {
    "08": "away", "28": "password", "3D000": "no_such", "3F000": "no_such", "42501": "refused", "25006": "writes",
    "42P01": "no_such", "42703": "no_such", "42883": "no_such", "57014": "slow", "57P": "away", "53300": "away",
    "55P03": "locked", "40": "locked",
}  # fmt: skip
# Error numbers (mariadb.com/kb, "MariaDB Error Codes"; 2002-2013 are the client's, 3024 is MySQL's).
_MARIADB = {
    2002: "away", 2003: "away", 2005: "away", 2006: "away", 2013: "away", 1040: "away", 1053: "away", 1045: "password",
    1698: "password", 1044: "refused", 1142: "refused", 1143: "refused", 1370: "refused", 1227: "refused",
    1049: "no_such", 1146: "no_such", 1054: "no_such", 1305: "no_such", 1969: "slow", 3024: "slow", 1205: "locked",
    1213: "locked", 1792: "writes",
}  # fmt: skip
_WORDS: dict[str, tuple[Trouble, str, str]] = {
    "away": (Trouble.UNREACHABLE, "The database does not answer", "Look whether it runs and whether url is right."),
    "password": (Trouble.REFUSED, "The database does not let us in", "Check the name in url and the password file."),
    "refused": (Trouble.REFUSED, "We may not read that there", "Give this user the right to SELECT what query names."),
    "writes": (
        Trouble.REFUSED,
        "The query would change something",
        "It is only allowed to read; write a plain SELECT.",
    ),
    "no_such": (Trouble.MISSING, "Something that query names is not there", "Correct query or url in the settings."),
    "no_file": (Trouble.MISSING, "The database file is not there", "Correct url in the settings."),
    "no_database": (Trouble.WRONG_ANSWER, "The file cannot be read as a database", "Correct url, or mend the file."),
    "locked": (
        Trouble.SLOW,
        "Another program keeps the table locked",
        "It is tried again; look what writes for so long.",
    ),
    "slow": (Trouble.SLOW, "The database took too long", "It is tried again; an index on its changed column helps."),
    "wrong": (Trouble.WRONG_ANSWER, "The database cannot answer the query", "Try the query by hand there."),
}
# A name of the schema, as the three of them write it; a value is never taken for one.
_NAMED = re.compile(r"(?:no such (?:table|column|function): |(?:relation|column|function|database) |Table |Unknown "
                    r"(?:column|database) )[\"'`]?([\w.]{1,80})", re.ASCII)  # fmt: skip


def trouble(kind: str, *, more: str = "") -> SourceTrouble:
    """One of the sentences above; `more` stands behind it in brackets."""
    sort, what, advice = _WORDS[kind]
    return SourceTrouble(sort, f"{what} ({more})" if more else what, advice)


def trouble_in_words(error: BaseException, *, was_cut: bool) -> SourceTrouble:
    """What a driver raised, without a word of the driver but the code of its error, or the name that it misses."""
    if was_cut:
        return trouble("slow")
    kind, code = _kind(error)
    if kind == "no_such":
        named = _NAMED.search(_said(error))
        return trouble(kind, more=named[1] if named else code)
    return trouble(kind, more=code if kind in ("wrong", "away") else "")


def _said(error: BaseException) -> str:
    return str(error.args[-1]) if error.args else ""


def _kind(error: BaseException) -> tuple[str, str]:
    """The sentence for it, and the error's code."""
    if isinstance(error, sqlite3.Error):
        return _of_sqlite(error)
    if error.args and isinstance(error.args[0], int):  # PyMySQL gives the server's number first
        return _MARIADB.get(error.args[0], "wrong"), str(error.args[0])
    return _of_postgres(error) if hasattr(error, "sqlstate") else ("away", "")


def _of_sqlite(error: sqlite3.Error) -> tuple[str, str]:
    code = int(getattr(error, "sqlite_errorcode", 0)) & 0xFF
    missing = _said(error).startswith("no such ")
    return "no_such" if missing else _SQLITE.get(code, "wrong"), str(getattr(error, "sqlite_errorname", ""))


def _of_postgres(error: Any) -> tuple[str, str]:
    state: str | None = error.sqlstate
    if state is None:  # before there is a session, libpq has only words
        said = str(error)
        words = {"password": ("authentication failed", "no password", "pg_hba.conf"), "no_such": ("does not exist",)}
        hits = [kind for kind, parts in words.items() if any(part in said for part in parts)]
        return hits[0] if hits else "away", ""
    fits = [start for start in _POSTGRES if state.startswith(start)]
    return _POSTGRES[max(fits, key=len)] if fits else "wrong", state
