"""The keys of the installation: which there are, and how a new one takes the place of an old one."""

from __future__ import annotations

from pathlib import Path

import click

from notify.cli.backup import keep_list_beside
from notify.cli.bars import bar
from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.errors import Conflict
from notify.flows import keys as flow

_KIND = click.argument("kind", type=click.Choice(["master", "index"]))
# What each thing that needs an old key means for whoever wants to drop it.
MEANS = {
    "people": "people whose data could never be read again: `shelfbell key rotate master` first",
    "contacts": "addresses and numbers that would not be found any more: `shelfbell key rotate index` first",
    "suppressions": "people who want nothing more, and would be written to again: keep the line as long as they count",
    "claim_links": "old claim links of forgotten people that would say \"unknown\" instead of \"erased\"",
    "passes": "open passes that would not be accepted at the counter: they end by themselves",
    "codes": "codes under way to customers that would not be accepted: they end by themselves within a day",
    "source_rows": "rows of watched systems that would look new once, and may raise doubts for a person",
}  # fmt: skip


@click.group("key", cls=Group)
def key() -> None:
    """The keys that open and find people's data: shown by name, never by content."""


@key.command("show")
@pass_desk
def show(desk: Desk) -> None:
    """Each key: since when it is known, and how much stands under it."""
    lines = flow.show(desk.ctx)
    rows = [(one.kind, one.id, "current" if one.current else "older", _since(one), _under(one)) for one in lines]
    desk.show(lines, *table(rows, head=("kind", "id", "", "since", "under it")))


@key.command("rotate")
@_KIND
@click.option("--prepare", is_flag=True, help="Only write the new line, to copy the file to other machines first.")
@pass_desk
def rotate(desk: Desk, kind: flow.Kind, prepare: bool) -> None:
    """Put a new key in place while the shop goes on; run again, it ends what was cut off.

    Afterwards make a new key backup: older ones open only with the older line of the key file.
    """
    file = _file(desk, kind)
    if prepare:
        name = flow.prepare(desk.ctx, kind, file)
        text = f"The line {name} stands in {file.name} and is not used yet. Copy the file to every machine, then run"
        desk.show({"id": name, "used": False}, f"{text} this again without --prepare.")
        return
    with bar(desk, f"Turning the {kind} key") as progress:
        made = flow.rotate(desk.ctx, kind, file, progress=progress)
    keep_list_beside(desk.services)  # so that the older line of the file may go before the next backup
    desk.show(made, *_said(made))


@key.command("check")
@pass_desk
def check(desk: Desk) -> None:
    """Whether the key files fit the store, and what still needs each older key."""
    older = [one for one in flow.show(desk.ctx) if not one.current]
    needs = {
        f"{one.kind} {one.id}": flow.what_needs(desk.ctx, one.kind, one.id, _file(desk, one.kind)) for one in older
    }
    lines = ["Both key files are those of this installation."]
    for name, found in needs.items():
        lines += [f"The older key {name} is needed by:" if found else f"Nothing needs the older key {name}."]
        lines += [f"  {count} {MEANS[code]}" for code, count in found.items()]
    desk.show({"fits": True, "needs": needs}, *lines)


@key.command("retire")
@_KIND
@click.argument("key_id", metavar="ID")
@click.option("--anyway", is_flag=True, help="Also give up what ends by itself or is only an inconvenience.")
@pass_desk
def retire(desk: Desk, kind: flow.Kind, key_id: str, anyway: bool) -> None:
    """Drop an old key that nothing needs any more; refused, with what would be lost, while something does."""
    try:
        lost = flow.retire(desk.ctx, kind, key_id, _file(desk, kind), anyway=anyway)
    except Conflict as refused:
        found = flow.what_needs(desk.ctx, kind, key_id, _file(desk, kind))
        means = "".join(f"\n  {count} {MEANS[code]}" for code, count in found.items())
        raise Conflict(f"{refused.what}{means}", refused.advice) from None
    text = f"The {kind} key {key_id} is dropped. Destroy its safe copies once no backup needs them."
    desk.show({"dropped": key_id, "lost": lost}, text, *(f"  given up: {n} {MEANS[code]}" for code, n in lost.items()))


def _since(one: flow.KeyLine) -> str:
    """The day from which the key is known; "-" for one from before that was noted."""
    return f"{one.since:%Y-%m-%d}" if one.since else "-"


def _under(one: flow.KeyLine) -> str:
    return f"{one.under} {'people' if one.kind == 'master' else 'contacts'}"


def _said(made: flow.Rotated) -> list[str]:
    count = "people's keys" if made.kind == "master" else "addresses and numbers"
    lines = [f"The {made.kind} key is {made.id} now; {made.changed} {count} were brought under it."]
    if made.finished:
        lines = [f"An earlier change to the {made.kind} key {made.id} is at its end now: {made.changed} {count}."]
    if made.closed:
        lines.append(f"{made.closed} could not be opened, and could not before; they stay as they are.")
    if not made.proved:
        lines.append("Somebody was reading the key store: run this again, so that nothing old stays readable in it.")
    lines += [f"The older key {one} stays in the file: see `shelfbell key check`." for one in made.left]
    return [*lines, "Make a new key backup now; older ones need the older key."]


def _file(desk: Desk, kind: flow.Kind) -> Path:
    keys = desk.settings.keys
    return keys.master_key_file if kind == "master" else keys.index_key_file
