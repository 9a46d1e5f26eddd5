"""Sources: other systems whose ticket changes and deliveries are watched, and how each of them is doing."""

from __future__ import annotations

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.cli.source_key import key
from notify.config.settings import Watch
from notify.flows import source_state, view_sources
from notify.flows.source_shop import watches_of
from notify.flows.view_sources import SourceLine


@click.group("source", cls=Group)
def source() -> None:
    """Other systems that tell of repairs and parts."""


source.add_command(key)


def watches(desk: Desk) -> tuple[Watch, ...]:
    """The sources that belong to this shop."""
    return watches_of(desk.ctx, desk.services.shop_ids(), desk.settings.watch, desk.shop_id)


@source.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Every source: when it was last read, what troubles it, how many of its changes wait for you."""
    seen = view_sources.view(desk.ctx, desk.actor, watches(desk), limit=0).lines
    rows = [(one.name, one.kind or "gone", one.about, desk.when(one.state.well_at), _trouble(desk, one), one.waits)
            for one in seen]  # fmt: skip
    lines = table(rows, head=("source", "kind", "about", "read", "trouble", "waiting"))
    desk.show(seen, *(lines or ["There is no source: [watch.NAME] in the settings names one."]))


@source.command("show")
@click.argument("name")
@pass_desk
def show(desk: Desk, name: str) -> None:
    """One source: how it is doing, what its words mean, what was taken, and what waits."""
    watch = view_sources.find_watch(watches(desk), name)
    batch = source_state.batch_of(desk.ctx, desk.shop_id, watch)
    seen = view_sources.view(desk.ctx, desk.actor, watches(desk), limit=0)
    (line,) = [one for one in seen.lines if one.name == name]
    words = [f"  {word} = {ours}" for kind in (batch.phase_words, batch.part_words) for word, ours in kind.items()]
    desk.show(
        {"source": line, "phase_words": dict(batch.phase_words), "part_words": dict(batch.part_words)},
        f"{name} is a {watch.kind} about {watch.about}, last read {desk.when(line.state.well_at)}.",
        *([f"Trouble: {_trouble(desk, line)}"] if line.state.trouble or line.silent_since else []),
        f"{line.state.taken} changes taken, {line.state.stale} older than what was known, {line.waits} wait for you.",
        "Its words, and ours:", *words,
    )  # fmt: skip


def _trouble(desk: Desk, one: SourceLine) -> str:
    if one.state.trouble:
        return f"{one.state.trouble.replace('_', ' ')} since {desk.when(one.state.trouble_since)}"
    return f"silent since {desk.when(one.silent_since)}" if one.silent_since else "-"
