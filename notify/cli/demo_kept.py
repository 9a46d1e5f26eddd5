"""The demo's kept data: people who will be forgotten soon, a dispute, a request, two stops, consents, a backup."""

from __future__ import annotations

from pathlib import Path

from notify.cli.backup import place_of
from notify.cli.demo_past import repaired
from notify.cli.demo_stage import Stage, Story, Visit
from notify.config.settings import Settings
from notify.core.consent import PURPOSES
from notify.flows import backup, data_holds, desk_notes, reach, requests
from notify.flows.check_in_form import DeviceForm
from notify.flows.view_lookup import find_person

FOLDERS = {"backup.folder": "backups", "backup.keys_folder": "key-backups"}


def make_folders(home: Path) -> None:
    """Where backups go: in a real shop another disk, each for itself."""
    for name in FOLDERS.values():
        (home / name).mkdir(mode=0o700)


def make_backup(s: Stage, settings: Settings) -> None:
    """One good backup, tried by opening it."""
    backup.make(s.ctx, place_of(settings))


def soon(s: Stage) -> Story:
    """Went home almost ninety days ago: forgotten in three days."""
    yield from _home(s, 88, 87, "Lorna Fisk", DeviceForm("Skerry pocket radio", "radio", "crackles", price_agreed="24"),
                     phone="+44 7700 900811", email="lorna.fisk@example.org")  # fmt: skip


def stopped(s: Stage) -> Story:
    """Went home eleven weeks ago, and wants to hear nothing more: two addresses that are never used again."""
    visit = yield from _home(
        s, 79, 77, "Emrys Tolland", DeviceForm("Plover e-reader", "e_reader", "frozen", price_agreed="33"),
        phone="+44 7700 900812", email="emrys.tolland@example.net",
    )  # fmt: skip
    yield s.day(60, "11:20")
    for channel in ("email", "sms"):
        _say(s, visit, channel, PURPOSES, allowed=False)


def disputed(s: Stage) -> Story:
    """Its time is over, but the repair is in dispute: kept, and somebody looks again."""
    visit = yield from _home(
        s, 102, 99, "Sid Marrow", DeviceForm("Anchorage camera", "camera", "blurred", price_agreed="57"),
        email="sid.marrow@example.com",
    )  # fmt: skip
    yield s.day(30, "16:40")
    data_holds.set_hold(s.ctx, s.owner, visit.visit_id, "dispute", note="Says that the blur was there before.")


def asks(s: Stage) -> Story:
    """Asked at the counter for a copy of what is held; the answer is still to be given."""
    visit = yield from _home(
        s, 20, 18, "Petra Quill", DeviceForm("Seafarer handheld", "handheld", "dim screen", price_agreed="29"),
        phone="+44 7700 900813", email="petra.quill@example.org",
    )  # fmt: skip
    _say(s, visit, "email", ("afterwards",), allowed=True)
    yield s.day(5, "12:15")
    requests.ask(s.ctx, s.owner, visit.visit_id, _bringer(s, visit), kind="access", how="counter",
                 made_sure="Came in with the claim ticket and the code from the message.")  # fmt: skip


def changed_their_mind(s: Stage) -> Story:
    """Agreed to be asked whether all is well, and took it back; the rest stands."""
    visit = yield from _home(
        s, 12, 10, "Hollis Reed", DeviceForm("Buoy clock radio", "radio", "no alarm", price_agreed="17"),
        phone="+44 7700 900814", email="hollis.reed@example.net",
    )  # fmt: skip
    for channel in ("email", "sms"):
        _say(s, visit, channel, ("afterwards",), allowed=True)
    yield s.day(9, "10:30")
    _say(s, visit, "sms", ("afterwards",), allowed=False)


def _home(s: Stage, came: int, went: int, name: str, device: DeviceForm, **reached: str) -> Story:
    """A device that came, was repaired and paid, and went home, each some days ago; the visit."""
    yield s.day(came, "13:50")
    visit = s.check_in(name, device, **reached)
    yield s.day(went, "11:15")
    repaired(visit)
    desk_notes.record_money(s.ctx, s.counter, visit.ticket_ids[0], paid=True)
    yield s.day(went, "17:20")
    visit.hand_back()
    return visit


def _say(s: Stage, visit: Visit, channel: str, purposes: tuple[str, ...], *, allowed: bool) -> None:
    reach.set_use(s.ctx, s.counter, visit.visit_id, _bringer(s, visit), channel=channel, purposes=purposes,
                  allowed=allowed, how="counter")  # fmt: skip


def _bringer(s: Stage, visit: Visit) -> str:
    return find_person(s.ctx, s.owner, visit.visit_id, "bringer")


STORIES = (soon, stopped, disputed, asks, changed_their_mind)
