"""Make the key by which a source signs its calls, or another one while both are in use."""

from __future__ import annotations

import secrets

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.config.key_files import keep_signing_key
from notify.config.settings import Watch
from notify.core.errors import Conflict, Misconfigured, NotFound
from notify.core.signed_call import new_secret

OCTETS = 32  # within what Standard Webhooks 1.0.0 asks for (core/signed_call.LEAST)


@click.command("key", cls=Command)
@click.argument("name")
@click.option("--rotate", is_flag=True, help="Make another one; the one before goes on to count from old_secret_file.")
@pass_desk
def key(desk: Desk, name: str, rotate: bool) -> None:
    """Make the key with which the source NAME signs its calls, and show it this once.

    It is written into the source's secret_file. No restart is needed.
    """
    source = _source(desk, name)
    assert source.secret_file is not None  # config/watch_rules
    if source.secret_file.exists() and not rotate:
        raise Conflict(f"{name} has a key already", "Add --rotate to make another one.")
    if rotate and source.old_secret_file is None:
        raise Misconfigured(
            f"watch.{name}.old_secret_file is empty, so calls signed with the old key would be lost",
            "Name a file for it in the settings.", field=f"watch.{name}.old_secret_file",
        )  # fmt: skip
    secret = new_secret(secrets.token_bytes(OCTETS))
    keep_signing_key(source.secret_file, secret, old=source.old_secret_file if rotate else None)
    address = f"{desk.settings.web.public_url}/hooks/watch/{name}"
    desk.show({"source": name, "address": address, "secret": secret}, secret, *_advice(address, rotate))


def _source(desk: Desk, name: str) -> Watch:
    found = next((one for one in desk.settings.watch if one.name == name), None)
    if found is None:
        raise NotFound(f"There is no source {name[:40]!r} in the settings", f"Write [watch.{name[:40]}] first.")
    if found.kind != "webhook":
        raise Conflict(f"{name} is a {found.kind} and signs nothing", "A key is for a source of kind webhook.")
    return found


def _advice(address: str, rotate: bool) -> tuple[str, ...]:
    both = "The key before counts as well until its file is deleted." if rotate else ""
    return tuple(
        filter(None, (f"It is shown only now. Give it to the system that calls {address} as its signing secret.", both))
    )
