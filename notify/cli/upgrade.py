"""Bring the database to the tables that this program needs."""

from __future__ import annotations

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.store import migrate
from notify.wiring import check_keys


@click.command("upgrade", cls=Command)
@pass_desk
def upgrade(desk: Desk) -> None:
    """Bring the database to this program's tables. Make a backup first; does nothing when it is up to date."""
    settings = desk.settings
    check_keys(settings)  # with another installation's keys its tables must not be touched
    migrate.upgrade(settings.database.url)
    desk.show({"step": migrate.newest()}, f"The database is at step {migrate.newest()}, as this program needs it.")
