"""Changes of sources that wait for a person: looked at, and decided about."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk
from notify.cli.source import watches
from notify.core.errors import Invalid
from notify.core.sources import Batch, Doubt
from notify.flows import doubts, source_state, view_sources
from notify.flows.doubts import Decided
from notify.flows.view_sources import DoubtLine


@click.group("doubt", cls=Group)
def doubt() -> None:
    """Changes that sources tell and you decide about. DOUBT is the beginning of its identifier."""


@doubt.command("list")
@click.option("--source", default="", help="Only those of this source.")
@click.option("--limit", type=click.IntRange(1, 1000), default=50, show_default=True)
@pass_desk
def list_(desk: Desk, source: str, limit: int) -> None:
    """What waits, the oldest first."""
    seen = view_sources.view(desk.ctx, desk.actor, watches(desk), source=source, limit=limit)
    lines = [line for one in seen.doubts for line in _told(desk, one)]
    more = [f"{seen.more} more wait."] if seen.more > 0 else []
    desk.show(seen.doubts, *(lines or ["Nothing waits for you."]), *more)


@doubt.command("show")
@click.argument("doubt")
@pass_desk
def show(desk: Desk, doubt: str) -> None:
    """One change, with everything that the source said."""
    one = view_sources.view_doubt(desk.ctx, desk.actor, watches(desk), _find(desk, doubt))
    desk.show(one, *_told(desk, one), *(f"    {name}: {text}" for name, text in one.cells.items()))


@doubt.command("mean")
@click.argument("source")
@click.argument("word")
@click.argument("ours")
@click.option("--part", is_flag=True, help="The word is about a part, not about a phase.")
@pass_desk
def mean(desk: Desk, source: str, word: str, ours: str, part: bool) -> None:
    """Say what WORD of SOURCE means: OURS, such as on_bench or repaired. All that waits for it is tried again."""
    view_sources.find_watch(watches(desk), source)
    kind = source_state.PART if part else source_state.PHASE
    said = doubts.mean(desk.ctx, desk.actor, _batch(desk, source), word, ours.replace(" ", "_"), kind=kind)
    others = "1 change was" if said.others == 1 else f"{said.others or 'No'} changes were"
    desk.show(said, said.said, f"{others} taken with it.")


@doubt.command("link")
@click.argument("doubt")
@click.argument("number")
@pass_desk
def link(desk: Desk, doubt: str, number: str) -> None:
    """Say that it speaks of our ticket NUMBER; the source's reference is known from then on."""
    doubt_id = _find(desk, doubt)
    _show(desk, doubts.link(desk.ctx, desk.actor, _batch_of(desk, doubt_id), doubt_id, number))


@doubt.command("take")
@click.argument("doubt")
@click.option("--in", "take_in", is_flag=True, help="Take the device in, with what the source says.")
@click.option("--device", default="", help="What it is, where the source does not say so.")
@click.option("--name", default="")
@click.option("--phone", default="")
@click.option("--email", default="")
@pass_desk
def take(desk: Desk, doubt: str, take_in: bool, device: str, name: str, phone: str, email: str) -> None:
    """Let the source's word count against ours; with --in, check the device in."""
    doubt_id = _find(desk, doubt)
    batch, cells = _batch_of(desk, doubt_id), {"device": device, "name": name, "phone": phone, "email": email}
    if not take_in and any(cells.values()):
        raise Invalid("What you typed is for taking a device in", "Add --in, or leave it out.")
    if take_in:
        _show(desk, doubts.take_in(desk.ctx, desk.actor, batch, doubt_id, cells))
    else:
        _show(desk, doubts.take_theirs(desk.ctx, desk.actor, batch, doubt_id))


@doubt.command("leave")
@click.argument("doubt", default="")
@click.option("--all", "all_of", metavar="SOURCE", default="", help="Everything that waits of this source.")
@click.option("--kind", type=click.Choice([kind.value for kind in Doubt]), default=None, help="Only those, with --all.")
@pass_desk
def leave(desk: Desk, doubt: str, all_of: str, kind: str | None) -> None:
    """Leave everything here as it is."""
    if bool(doubt) == bool(all_of):
        raise Invalid("It is not said what is to be left", "Name one change, or --all and a source.")
    if all_of:
        _show(desk, doubts.leave_all(desk.ctx, desk.actor, all_of, kind=kind or ""))
    else:
        _show(desk, doubts.leave_ours(desk.ctx, desk.actor, _find(desk, doubt)))


def _find(desk: Desk, beginning: str) -> str:
    return view_sources.find_doubt(desk.ctx, desk.actor, beginning)


def _batch_of(desk: Desk, doubt_id: str) -> Batch:
    return _batch(desk, view_sources.source_of(desk.ctx, desk.actor, doubt_id))


def _batch(desk: Desk, source: str) -> Batch:
    return source_state.batch_for(desk.ctx, desk.shop_id, watches(desk), source)


def _show(desk: Desk, said: Decided) -> None:
    desk.show(said, said.said)


def _told(desk: Desk, one: DoubtLine) -> list[str]:
    number = one.ticket.number if one.ticket else "-"
    head = f"{one.id[:8]}  {desk.when(one.told_at or one.seen_at)}  {one.source}  {one.reference or '-'}  {number}"
    ours = (
        f"    Here: {one.ticket.phase.value.replace('_', ' ')} since {desk.when(one.ticket.since)}"
        if one.ticket
        else ""
    )
    word = f"    There: {one.word}" if one.word else ""
    reason = "Both say the same by now." if one.is_agreed else one.reason
    return [head, *(line for line in (word, ours) if line), f"    {reason}"]
