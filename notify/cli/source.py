"""Sources: other systems whose ticket changes and deliveries are watched."""

from __future__ import annotations

import click

from notify.cli.desk import Group
from notify.cli.source_key import key


@click.group("source", cls=Group)
def source() -> None:
    """Other systems that tell of repairs and parts."""


source.add_command(key)
