"""Look at sources: once or again and again by command, each on a thread of its own while `shelfbell serve` runs."""

from __future__ import annotations

import logging
import sys
import time
from collections.abc import Callable, Iterator

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.config.settings import Settings, Watch
from notify.core.errors import Conflict, NotFound
from notify.core.source_rest import rests
from notify.core.sources import Taken
from notify.flows import source_state
from notify.flows.source_shop import shop_of
from notify.schedule.jobs import Job, Run
from notify.schedule.when import Every
from notify.watch.report import Report
from notify.wiring import Services

FOLDER_SECONDS, LOOKS = 1, 2  # two looks a second: what is changed there is to be a message within one
log = logging.getLogger("shelfbell.watch")
Tell = Callable[[int], None]


@click.command("watch", cls=Command)
@click.argument("name", default="")
@click.option("--once", is_flag=True, help="Look once; without it, again and again until Ctrl-C.")
@click.option("--dry-run", is_flag=True, help="Only say, line by line, what would change; nothing does.")
@pass_desk
def watch(desk: Desk, name: str, once: bool, dry_run: bool) -> None:
    """Look at the source NAME, or at all of them, and take the changes that they tell.

    `shelfbell serve` does the same. What cannot be taken waits for you: `shelfbell doubt list`.
    """
    sources = _meant(desk.settings, name)
    while True:
        found = {one.name: look_at(desk.services, one, dry_run=dry_run, tell=_progress(one.name)) for one in sources}
        _progress_ends()
        lines = [line for source, reports in found.items() for one in reports for line in told(source, one, dry_run)]
        if once or dry_run or lines:
            desk.show(found, *(lines or ["There is nothing new."]))
        if once or dry_run:
            return
        time.sleep(min(_seconds(one) for one in sources))


def _meant(settings: Settings, name: str) -> tuple[Watch, ...]:
    named = [one for one in settings.watch if name in ("", one.name)]
    if not named:
        raise NotFound(
            f"There is no source {name[:40]!r} in the settings" if name else "No source is watched",
            "Write a section [watch.NAME] into the settings; config.example.toml shows one.", field="name",
        )  # fmt: skip
    looked_at = tuple(one for one in named if one.kind != "webhook")
    if not looked_at:
        raise Conflict(f"{named[0].name} calls by itself", "A webhook is not looked at; see `shelfbell source list`.")
    return looked_at


def _progress(name: str) -> Tell:
    """Says on a terminal how many lines of long work are done; nothing where nobody looks."""
    said = [0]

    def tell(lines: int) -> None:
        if lines - said[0] >= 1_000 and sys.stderr.isatty():
            said[0] = lines
            click.echo(f"\r{name}: {lines:,} lines", err=True, nl=False)

    return tell


def _progress_ends() -> None:
    """Takes the line of progress away, so that what came of it has a line of its own."""
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", err=True, nl=False)


def look_at(services: Services, one: Watch, *, dry_run: bool, tell: Tell) -> tuple[Report, ...]:
    """One look at one source, in the shop that it belongs to. Raises Misconfigured when that is none."""
    ctx = services.context
    shop_id = shop_of(ctx, services.shop_ids(), one.shop, source=one.name)
    if one.kind == "table":
        from notify.watch import table  # only whoever watches a database loads its driver

        return table.look(ctx, shop_id, one, dry_run=dry_run, tell=tell)
    from notify.watch import folder

    limit = services.settings.limits.watched_file_kilobytes * 1024
    return folder.look(ctx, shop_id, one, limit_bytes=limit, dry_run=dry_run, tell=tell)


def told(source: str, report: Report, dry_run: bool) -> list[str]:
    """A report in words: one line for the file or look, then one for each line that waits or would change."""
    what = source if report.what == source else f"{source}: {report.what}"
    if report.problem and report.taken == Taken():
        return [f"{what}: {report.problem}"]
    lines = [(line, f"would wait for you: {why}" if dry_run else f"waits for you: {why}")
             for line, _, why in report.taken.doubted]  # fmt: skip
    lines += [(line, f"refused: {why}") for line, why in report.refused]
    lines += list(report.taken.would) if dry_run else []
    problem = [f"{what}: {report.problem}"] if report.problem else []
    return [
        f"{what}: {_counts(report, dry_run)}",
        *(f"  line {line}: {said}" for line, said in sorted(lines)),
        *problem,
    ]


def _counts(report: Report, dry_run: bool) -> str:
    taken = report.taken
    if taken.known:
        return "this was taken before; nothing changes"
    done = (
        (len(taken.taken), "would be taken" if dry_run else "taken"),
        (len(taken.unchanged), "with nothing new"),
        (len(taken.stale), "older than what is known"),
        (len(taken.doubted), "would wait for you" if dry_run else "wait for you"),
        (len(report.refused), "refused"),
    )
    return ", ".join(f"{number} {word}" for number, word in done if number) or "nothing in it"


def watch_jobs(settings: Settings) -> tuple[Job, ...]:
    """One timed job for each source that is looked at, on a thread of its own: none holds another one up.

    With one process none needs a lease; several look each in its turn.
    """
    alone = settings.database.url.startswith("sqlite")
    return tuple(
        Job(f"watch_{one.name}", Every(_seconds(one)), _looking(one), per_shop=False, leased=not alone, slow=True)
        for one in settings.watch
        if one.kind != "webhook"
    )


def _seconds(one: Watch) -> int:
    return FOLDER_SECONDS if one.kind == "folder" else one.every_seconds


def _rests(run: Run, one: Watch) -> bool:
    """Whether a database that could not be read is left alone for now; somebody's command looks at once."""
    shop_id = shop_of(run.context, run.services.shop_ids(), one.shop, source=one.name)
    state = source_state.state(run.context, shop_id, one.name)
    return rests(run.now, looked_at=state.looked_at, trouble_since=state.trouble_since)


def _reports(run: Run, one: Watch) -> Iterator[Report]:
    yield from look_at(run.services, one, dry_run=False, tell=lambda lines: None)
    for _ in range(LOOKS - 1 if one.kind == "folder" else 0):
        time.sleep(FOLDER_SECONDS / LOOKS)
        yield from look_at(run.services, one, dry_run=False, tell=lambda lines: None)


def _looking(one: Watch) -> Callable[[Run], None]:
    def look(run: Run) -> None:
        """Counts only go into the log: a reason may quote what stood in a line."""
        if one.kind == "table" and _rests(run, one):
            return
        for report in _reports(run, one):
            if report.trouble:
                log.warning("the source %s has trouble: %s", one.name, report.trouble.value)
            if report.refused or report.taken.doubted:
                waits, refused = len(report.taken.doubted), len(report.refused)
                log.warning("of the source %s %d lines wait for a person, %d were refused", one.name, waits, refused)

    return look
