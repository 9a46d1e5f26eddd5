"""The demo's other systems: a watched folder and a table, a script's token, a listener that rests, a pad of tickets.

The service takes from folder and table once it runs; one line says a word that nobody here knows, and waits for you.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from notify.cli.demo_stage import Stage
from notify.flows import api_tokens, listeners, pads

_FOLDER, _TABLE = "from-the-pier", "harbour-office.db"
_SOURCES = """
[watch.pier]
kind = "folder"
folder = "{folder}"
columns = {{ reference = "Job", phase = "Where", device = "What", name = "Whose", email = "Mail" }}
phase_words = {{ "came in" = "taken_in", "waits" = "in_line" }}

[watch.harbour]
kind = "table"
url = "sqlite:///{table}"
query = "SELECT job, stands, what, whose, mail, changed FROM jobs"
changed = "changed"
columns = {{ reference = "job", phase = "stands", device = "what", name = "whose", email = "mail" }}
phase_words = {{ "open" = "taken_in" }}
"""
_LINES = """\
Job;Where;What;Whose;Mail
P-31;waits;Pagewright e-reader;Runa Holm;runa.holm@example.org
P-32;gone swimming;Gull pocket radio;Tove Lind;tove.lind@example.net
"""
_JOB = ("H-7", "open", "Fathom weather radio", "Harbour office", "office@example.org", 1)


def write_sources(config: Path) -> None:
    """Adds both sources to the settings, and writes what they tell."""
    home = config.parent.resolve()
    (home / _FOLDER).mkdir(mode=0o700)
    (home / _FOLDER / "monday.csv").write_text(_LINES, "utf-8")
    with closing(sqlite3.connect(home / _TABLE)) as table, table:
        table.execute("CREATE TABLE jobs (job TEXT, stands TEXT, what TEXT, whose TEXT, mail TEXT, changed INTEGER)")
        table.execute("CREATE INDEX jobs_changed ON jobs (changed)")
        table.execute("INSERT INTO jobs VALUES (?, ?, ?, ?, ?, ?)", _JOB)
    with config.open("a", encoding="utf-8") as file:
        file.write(_SOURCES.format(folder=_FOLDER, table=home / _TABLE))


def connect(s: Stage) -> None:
    """What the shop's own scripts and systems were given; the listener rests, for nothing leaves this machine."""
    api_tokens.make_token(s.ctx, s.owner, name="books at night", scopes=["tickets:read", "events:read"])
    made = listeners.add(s.ctx, s.owner, name="Wall clock", address="https://clock.example.org/told",
                         kinds=["shelved", "shelved_unrepaired"], inner_hosts=())  # fmt: skip
    listeners.pause(s.ctx, s.owner, made.id)
    pads.make_pad(s.ctx, s.owner, tickets=4)
