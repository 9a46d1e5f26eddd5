"""A running shop with invented repairs, to look around in: fresh folder, real flows, nothing leaves the machine."""

from __future__ import annotations

import errno
import secrets
import shutil
import socket
import tempfile
import time
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import click

from notify.cli import demo_ahead, demo_bench, demo_kept, demo_others, demo_past
from notify.cli.demo_shop import PEOPLE, open_shop
from notify.cli.demo_stage import MovedClock, Stage, play
from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.only_one import only_one
from notify.cli.serve import checked, own_address, own_jobs, run_service
from notify.config.first_setup import CONFIG, write_first_installation
from notify.config.load import load
from notify.core.errors import Conflict
from notify.wiring import build, system_clock

MARK = ".shelfbell-demo"
PORT = 8600
OPENED = timedelta(days=113)


@click.command("demo", cls=Command)
@click.argument("folder", type=click.Path(path_type=Path), default="demo", required=False)
@click.option("--port", type=click.IntRange(1, 65535), help=f"Port of the pages; else {PORT}, or any free one.")
@click.option("--keep", is_flag=True, help="Go on with the demo that is in the folder instead of a fresh one.")
@click.option("--temporary", is_flag=True, help="Use a folder that is removed at the end.")
@pass_desk
def demo(desk: Desk, /, folder: Path, port: int | None, keep: bool, temporary: bool) -> None:
    """Open an invented repair counter in FOLDER (./demo if left out), with tickets in every phase.

    Mail goes into a Maildir in the folder, and the page /demo/mail shows every message. Ctrl-C stops it.
    """
    home = Path(tempfile.mkdtemp(prefix="shelfbell-demo-")) if temporary else desk.here / folder
    try:
        _run(desk, home, port=port, keep=keep)
    finally:
        if temporary:
            shutil.rmtree(home, ignore_errors=True)


def _run(desk: Desk, home: Path, *, port: int | None, keep: bool) -> None:
    began = time.monotonic()
    if not (keep and (home / MARK).exists()):
        _sweep(home)
        config = _set_up(home, port or _free_port())
        links = seed(config, system_clock())
        (home / MARK).write_text("".join(f"{words}\t{link}\n" for words, link in links.items()), "utf-8")
    file = home / CONFIG
    settings = checked(load(file), file)
    told = _told(own_address(settings), home, seconds=time.monotonic() - began)
    jobs = own_jobs(settings, file)
    run_service(settings, say=lambda line: desk.show(told[0], *told[1], "", line), demo=True, jobs=jobs)


def _sweep(home: Path) -> None:
    """Removes an earlier demo, and only one: anything else in that folder is somebody's own."""
    if not home.exists():
        return
    if not (home / MARK).exists() and any(home.iterdir()):
        raise Conflict(
            f"The folder {home.name} holds something that is no demo", "Name another folder.", field="folder"
        )
    if (home / "data").is_dir():
        with only_one(home / "data"):  # a demo that is running is not swept away from under its own feet
            pass
    shutil.rmtree(home)


def _free_port() -> int:
    """The usual port if it is free, else one that the system gives."""
    for port in (PORT, 0):
        with closing(socket.socket()) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError as error:
                if error.errno == errno.EADDRINUSE:
                    continue
                raise
            return int(probe.getsockname()[1])
    return PORT


def _set_up(home: Path, port: int) -> Path:
    config = write_first_installation(
        home, public_url=f"http://127.0.0.1:{port}", random_bytes=secrets.token_bytes,
        changed={
            "web.port": port, "mail.sender_name": "Tramstop Bench", "mail.sender_address": "counter@example.org",
            "sms.transport": "mailgate", "sms.template": "{digits}@sms.example.org",
            "log.level": "warning",
            "bell.quiet_from": "00:00", "bell.quiet_until": "00:00", **demo_kept.FOLDERS,
        },
    )  # fmt: skip
    demo_kept.make_folders(home)
    demo_others.write_sources(config)
    (home / MARK).touch(mode=0o600)  # from here on it may be swept away
    return config


def seed(config: Path, now: datetime) -> dict[str, str]:
    """Plays months of the shop's life up to `now` through the real flows; claim links worth opening, by their words."""
    clock = MovedClock(now - OPENED)
    services = build(load(config), clock=clock, upgrade=True)
    try:
        stage: Stage = open_shop(services, clock, now)
        live(stage)
        demo_kept.make_backup(stage, services.settings)
        return stage.links
    finally:
        services.close()


def live(stage: Stage) -> None:
    """Plays every story up to the stage's now, and lets the shop look ahead from there."""
    demo_ahead.read_history(stage)
    stories = (*demo_past.STORIES, *demo_bench.STORIES, *demo_ahead.STORIES, *demo_kept.STORIES)
    play(stage, [story(stage) for story in stories])
    demo_others.connect(stage)
    demo_ahead.look_ahead(stage)
    stage.deliver(stage.now)


def _told(address: str, home: Path, *, seconds: float) -> tuple[dict[str, object], list[str]]:
    links = [line.split("\t") for line in (home / MARK).read_text("utf-8").splitlines()]
    data: dict[str, object] = {
        "day_sheet": address, "mail": f"{address}demo/mail", "claims": dict(links),
        "people": [{"name": n, "role": r, "password": p, "pin": pin} for n, r, p, pin in PEOPLE],
        "folder": str(home), "ready_seconds": round(seconds, 2),
    }  # fmt: skip
    lines = [
        "Tramstop Bench in Quillhaven is open. Everybody in it is invented, and nothing leaves this machine.", "",
        f"  the day sheet         {address}", f"  every message         {address}demo/mail", "",
        "  sign in with", *(f"    {n:<8}{r:<12}password {p:<22}PIN {pin}" for n, r, p, pin in PEOPLE), "",
        "  claim pages, as customers see them", *(f"    {words}\n      {link}" for words, link in links),
    ]  # fmt: skip
    return data, lines
