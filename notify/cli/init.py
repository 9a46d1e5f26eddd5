"""Make a first installation: settings, keys, database, the shop, its owner and usual hours."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.passwords import Secret, at_terminal, read_password
from notify.config.first_setup import CONFIG, write_first_installation
from notify.config.load import load
from notify.core.errors import Conflict
from notify.core.languages import LANGUAGES
from notify.flows import open_shop
from notify.wiring import Services, build

_MADE = ("keys", "data")


@click.command("init", cls=Command)
@click.argument("folder", type=click.Path(path_type=Path), default=".", required=False)
@click.option("--public-url", default="", help="Address that customers reach (https://…); left out: none, no links.")
@click.option("--name", "shop_name", default="", help="What customers call the shop.")
@click.option("--address", default="", help="Street and town.")
@click.option("--phone", default="", help="The number customers may call, as +44 1632 960123.")
@click.option("--email", default="", help="Where the shop reads its own notices.")
@click.option("--zone", default="Europe/London", show_default=True, help="The shop's time zone.")
@click.option("--region", default="GB", show_default=True, help="Country of phone numbers, two letters.")
@click.option("--language", default="en", show_default=True, help=f"Language of the shop: {', '.join(LANGUAGES)}.")
@click.option("--currency", default="GBP", show_default=True, help="Three letters.")
@click.option("--database-url", default="", help="PostgreSQL instead of SQLite, as postgresql://user@host/name.")
@click.option("--keys-url", default="", help="Database of the people's keys: another server, with a backup life of "
              "its own. Left out: keys.db in the data folder.")  # fmt: skip
@click.option("--owner", default="Owner", show_default=True, help="Name to sign in with.")
@click.option("--password-file", type=click.File("r"), help="File with the owner's password on its first line; - is "
              "the standard input. Left out: asked for at a terminal, else one is made and shown once.")  # fmt: skip
@pass_desk
def init(desk: Desk, /, folder: Path, public_url: str, database_url: str, keys_url: str, shop_name: str, owner: str,
         password_file: IO[str] | None, **shop: str) -> None:  # fmt: skip
    """Make a first installation in FOLDER (here if left out): settings, keys, database, shop and owner.

    Nothing that is there is overwritten. Hours, staff and suppliers are changed later with `shelfbell shop`
    and `shelfbell staff`, or on the settings page.
    """
    home = desk.here / folder
    _check_free(home)
    values = {"name": shop_name or _asked("Name of the shop", "My repair counter"), **shop}
    urls = {"database.url": database_url, "database.keys_url": keys_url}
    secret = read_password(password_file, whose="the owner")
    with _undone_on_error(home):
        config = write_first_installation(
            home, public_url=public_url, random_bytes=secrets.token_bytes,
            changed={key: url for key, url in urls.items() if url},
        )  # fmt: skip
        services = build(load(config), upgrade=True)
        try:
            shop_id = make_first_shop(services, values, owner=owner, secret=secret)
        finally:
            services.close()
    where = os.path.relpath(config, desk.here)
    shown = {"config": str(config), "shop": shop_id, "owner": owner, **secret.shown()}
    desk.show(shown, *_told(where, owner, secret))


def make_first_shop(services: Services, values: Mapping[str, str], *, owner: str, secret: Secret) -> str:
    """The shop with its usual hours and its first owner; the shop's identifier. Raises Invalid for wrong values."""
    first = open_shop.Owner(owner, secret.password, secret.pin)
    return open_shop.open_shop(services.context, settings=values, owner=first)


def _check_free(home: Path) -> None:
    """The whole folders must be new: keys or data of another installation would be mixed with these."""
    for name in _MADE:
        if (home / name).is_file() or ((home / name).is_dir() and any((home / name).iterdir())):
            raise Conflict(f"{name}/ is already there", "Nothing was written. Choose an empty folder.", field=name)


def _asked(question: str, default: str) -> str:
    return str(click.prompt(question, default=default)) if at_terminal() else default


@contextmanager
def _undone_on_error(home: Path) -> Iterator[None]:
    """Half an installation would stand in the way of the next try: what was made goes again."""
    before = {name for name in (*_MADE, CONFIG) if (home / name).exists()}
    try:
        yield
    except Conflict:
        raise
    except BaseException:
        for name in _MADE:
            shutil.rmtree(home / name, ignore_errors=True)
            if name in before:  # it was there and empty
                (home / name).mkdir(mode=0o700)
        if CONFIG not in before:
            (home / CONFIG).unlink(missing_ok=True)
        raise


def _told(config: str, owner: str, secret: Secret) -> list[str]:
    return [
        f"Written: {config}, keys/ and data/ beside it, readable by you only.", "",
        f"Sign in as {owner!r}.", *secret.lines(), "",
        "Keep a copy of keys/ in a safe place, apart from backups of data/: without the keys nothing can be read.",
        f"Next, in {Path(config).parent}: shelfbell check, then shelfbell serve.",
    ]  # fmt: skip
