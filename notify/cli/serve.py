"""Start the service: `serve` is all of it in one process; `web` and `worker` are its halves, for PostgreSQL."""

from __future__ import annotations

import signal
import uuid
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

import click

from notify.cli import restore
from notify.cli.backup import backup_jobs
from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.inbox import inbox_jobs, modem_jobs
from notify.cli.logs import set_up
from notify.cli.only_one import only_one
from notify.cli.server import open_socket, serve_until_stopped, stop_on_signals
from notify.cli.watch import watch_jobs
from notify.config.checks import refuse_unsafe
from notify.config.settings import Settings
from notify.core.errors import Misconfigured
from notify.schedule.jobs import CHECKPOINT, JOBS, Job
from notify.schedule.runner import Runner
from notify.store import copying, job_runs, listeners, outbox
from notify.wiring import Services, build, system_clock


@click.command("serve", cls=Command)
@pass_desk
def serve(desk: Desk) -> None:
    """Serve pages, send messages and keep the clock's jobs, in one process.

    Stops within three seconds on Ctrl-C or SIGTERM. A second one on the same data folder is refused.
    """
    settings = checked(desk.settings, desk.config_file)
    run_service(
        settings, say=lambda text: desk.show({"address": text}, text), jobs=own_jobs(settings, desk.config_file)
    )


@click.command("web", cls=Command)
@pass_desk
def web(desk: Desk) -> None:
    """Serve pages only; any number of these may run beside `shelfbell worker`. Needs PostgreSQL."""
    settings = checked(desk.settings, desk.config_file)
    _need_postgres(settings, "web")
    set_up(settings.log)
    with stop_on_signals(), ExitStack() as stack:
        listening = stack.enter_context(open_socket(settings.web.bind, settings.web.port))
        services = _open(settings, stack)
        from notify.web.app import create_app

        click.echo(f"Shelfbell's pages are at {own_address(settings)}", err=True)
        serve_until_stopped(create_app(services), listening, proxied=bool(settings.web.trusted_proxies))


@click.command("worker", cls=Command)
@pass_desk
def worker(desk: Desk) -> None:
    """Send messages and keep the clock's jobs, without pages; any number may run. Needs PostgreSQL."""
    settings = checked(desk.settings, desk.config_file)
    _need_postgres(settings, "worker")
    set_up(settings.log)
    with stop_on_signals(), ExitStack() as stack:
        services = _open(settings, stack)
        _start(services, (*JOBS, *own_jobs(settings, desk.config_file)), stack)
        click.echo("Shelfbell's worker is running.", err=True)
        while True:
            signal.pause()


def own_jobs(settings: Settings, file: Path) -> tuple[Job, ...]:
    """The timed jobs that this installation has beside the table's: watched folders, mailbox, modem and backups.

    `file` is the settings file.
    """
    others = (*watch_jobs(settings), *inbox_jobs(settings), *modem_jobs(settings))
    return (*others, *backup_jobs(settings, file))


def checked(settings: Settings, file: Path) -> Settings:
    """The settings, if nothing in them or on this machine is unsafe; raises Misconfigured with all of it."""
    refuse_unsafe(settings, now=system_clock(), file=file)
    return settings


def run_service(
    settings: Settings, *, say: Callable[[str], None], demo: bool = False, jobs: Sequence[Job] = ()
) -> None:
    """Runs the one process until a signal comes. `say` gets the line that tells where the pages are.

    `jobs` come on top of the table's (watched folders). Raises Conflict when another one serves this folder,
    Misconfigured when the port is taken or the database needs upgrading.
    """
    set_up(settings.log)
    with stop_on_signals(), ExitStack() as stack:
        stack.enter_context(only_one(settings.database.data_folder))
        listening = stack.enter_context(open_socket(settings.web.bind, settings.web.port))
        _sweep(settings.database.data_folder)
        services = _open(settings, stack)
        own = (CHECKPOINT,) if services.context.db.is_sqlite else ()
        if own:
            _take_over(services)
        from notify.web.app import create_app  # Flask takes a moment: a refusal above comes without it

        app = create_app(services, demo=demo)
        _start(services, (*JOBS, *own, *jobs), stack)
        say(f"Shelfbell is open at {own_address(settings)} (stop it with Ctrl-C)")
        serve_until_stopped(app, listening, proxied=bool(settings.web.trusted_proxies))


def own_address(settings: Settings) -> str:
    """Where this machine reaches the pages."""
    host = f"[{settings.web.bind}]" if ":" in settings.web.bind else settings.web.bind
    return f"http://{host}:{settings.web.port}/"


def _open(settings: Settings, stack: ExitStack) -> Services:
    services = build(settings)
    stack.callback(services.close)
    return services


def _start(services: Services, jobs: Sequence[Job], stack: ExitStack) -> None:
    runner = Runner(services, by=str(uuid.uuid4()), jobs=jobs)
    runner.start()
    stack.callback(runner.stop)


def _sweep(data_folder: Path) -> None:
    """Removes what a backup or a restore that was killed left beside the data. Holding the lock, no restore runs."""
    copying.sweep(data_folder)
    restore.sweep(data_folder)


def _take_over(services: Services) -> None:
    """Holding the lock proves that nobody else is at work: what a killed process had in hand is free again."""
    db = services.context.db
    job_runs.release_all(db)
    for shop_id in services.shop_ids():
        with db.write(shop_id) as unit:
            outbox.release(unit)
            listeners.release(unit)


def _need_postgres(settings: Settings, command: str) -> None:
    if settings.database.url.startswith("sqlite"):
        raise Misconfigured(
            f"`shelfbell {command}` is for several processes, which SQLite cannot serve",
            "Run `shelfbell serve`, or set database.url to a PostgreSQL database.",
            field="database.url",
        )
