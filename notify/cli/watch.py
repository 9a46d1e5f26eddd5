"""Take what lies in the watched folders: at once by command, every few seconds while `shelfbell serve` runs."""

from __future__ import annotations

import logging

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.config.settings import Settings, Watch
from notify.schedule.jobs import Job, Run
from notify.schedule.when import Every
from notify.watch.folder import Report, take_folder

SECONDS = 10
log = logging.getLogger("shelfbell.watch")


@click.command("watch", cls=Command)
@click.option("--dry-run", is_flag=True, help="Only say what would be taken; nothing changes, no file moves.")
@pass_desk
def watch(desk: Desk, dry_run: bool) -> None:
    """Take the ticket changes that lie in the watched folders now, line by line.

    `shelfbell serve` does the same every few seconds. Lines refused are kept in refused/ with their reasons.
    """
    limit = desk.settings.limits.watched_file_kilobytes * 1024
    reports = {
        one.name: take_folder(desk.ctx, desk.shop_id, one, limit_bytes=limit, dry_run=dry_run)
        for one in desk.settings.watch
    }
    lines = [line for name, found in reports.items() for report in found for line in told(name, report)]
    nothing = "Nothing lies there." if reports else "No folder is watched: [watch.NAME] in the settings names one."
    desk.show(reports, *(lines or [nothing]))


def told(name: str, report: Report) -> list[str]:
    """A report in words, one line for the file and one for each line refused."""
    if report.problem:
        return [f"{name}: {report.file} was refused: {report.problem}"]
    counts = f"{report.taken} taken, {report.unchanged} unchanged, {len(report.refused)} refused"
    return [f"{name}: {report.file}: {counts}", *(f"  line {line}: {why}" for line, why in report.refused)]


def watch_jobs(settings: Settings) -> tuple[Job, ...]:
    """One timed job for each watched folder."""
    limit = settings.limits.watched_file_kilobytes * 1024
    return tuple(_job(one, limit) for one in settings.watch)


def _job(one: Watch, limit: int) -> Job:
    return Job(f"watch_{one.name}", Every(SECONDS), lambda run: _take(run, one, limit), per_shop=False)


def _take(run: Run, one: Watch, limit: int) -> None:
    """Counts only go into the log: a reason may quote what stood in a line."""
    shops = run.services.shop_ids()
    if len(shops) != 1:
        log.warning("watched folders are taken only where there is one shop; use `shelfbell watch --shop`")
        return
    for report in take_folder(run.context, shops[0], one, limit_bytes=limit):
        if report.problem or report.refused:
            log.warning("a watched file had lines that were refused; they lie in its folder refused/")
