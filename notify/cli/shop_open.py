"""Another shop in the same installation, and the list of all."""

from __future__ import annotations

from typing import IO, Any

import click

from notify.cli.desk import Command, Desk, pass_desk, table
from notify.cli.passwords import at_terminal, read_password
from notify.core.languages import LANGUAGES
from notify.flows import open_shop
from notify.flows.view_desk import view_shop

# What a shop shares with its elder sister unless it says otherwise, and how it is asked for at a terminal.
_LIKE_THE_FIRST = {"zone": "Time zone", "region": "Country of phone numbers", "language": "Language of the shop",
                   "currency": "Currency"}  # fmt: skip


@click.command("add", cls=Command)
@click.argument("name")
@click.option("--address", default="", help="Street and town.")
@click.option("--phone", default="", help="The number customers may call, as +44 1632 960123.")
@click.option("--email", default="", help="Where the shop reads its own notices.")
@click.option("--zone", default="", help="Its time zone. This and the next three: the first shop's if left out.")
@click.option("--region", default="", help="Country of phone numbers, two letters.")
@click.option("--language", default="", help=f"Language of the shop: {', '.join(LANGUAGES)}.")
@click.option("--currency", default="", help="Three letters.")
@click.option("--owner", default="", help="Name of its first owner, who signs in there.")
@click.option("--password-file", type=click.File("r"), help="File with the owner's password on its first line; - is "
              "the standard input. Left out: asked for at a terminal, else one is made and shown once.")  # fmt: skip
@pass_desk
def add(desk: Desk, /, name: str, owner: str, password_file: IO[str] | None, **given: str) -> None:
    """Open another shop here, with usual hours, kinds of repair and its first owner: all of it or nothing.

    Each shop has people, tickets, hours, suppliers, sources, tokens and listeners of its own; somebody who works in two
    shops has an account in each.
    """
    settings = {"name": name, **_whole(desk, given)}
    who = owner or _asked("Name of the owner", "Owner")
    secret = read_password(password_file, whose="the owner")
    first = open_shop.Owner(who, secret.password, secret.pin)
    shop_id = open_shop.open_shop(desk.ctx, settings=settings, owner=first)
    shown = {"shop": shop_id, "name": name, "owner": who, **secret.shown()}
    desk.show(shown, f"{name} is open; sign in there as {who!r}.", *secret.lines(),
              f'Commands for it take --shop "{name}"; its hours are a start: shelfbell shop show.',
              *_sources_of_nobody(desk))  # fmt: skip


def _sources_of_nobody(desk: Desk) -> list[str]:
    """Which sources stand still from now on, since their section names no shop and there are several."""
    names = ", ".join(watch.name for watch in desk.services.settings.watch if not watch.shop)
    said = f"Write its shop into [watch.NAME] of the settings and start again; until then nothing is taken of {names}."
    return [said] if names else []


@click.command("list", cls=Command)
@pass_desk
def list_(desk: Desk) -> None:
    """Every shop of this installation, the oldest first."""
    found = [(one, view_shop(desk.ctx, one)) for one in desk.services.shop_ids()]
    told: list[dict[str, Any]] = [
        {"shop": one, "name": shop.name, "zone": shop.zone, "language": shop.language, "currency": shop.currency}
        for one, shop in found
    ]
    rows = [(row["name"], row["zone"], row["language"], row["currency"], row["shop"][:8]) for row in told]
    desk.show(told, *table(rows, head=("name", "zone", "language", "currency", "id")))


def _whole(desk: Desk, given: dict[str, str]) -> dict[str, str]:
    """What was given; the rest as in the first shop, looked at once more by whoever sits at a terminal."""
    every = desk.services.shop_ids()
    first = view_shop(desk.ctx, every[0] if every else desk.shop_id)
    missing = {key: getattr(first, key) for key in _LIKE_THE_FIRST if not given[key]}
    return given | {key: _asked(_LIKE_THE_FIRST[key], value) for key, value in missing.items()}


def _asked(question: str, default: str) -> str:
    return str(click.prompt(question, default=default)) if at_terminal() else default
