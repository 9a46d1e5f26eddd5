"""Backups beside the running service, the README's drill on another machine line by line, PostgreSQL by its tools."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from notify.cli import restore
from notify.cli.backup import keep_list_beside
from notify.config.load import load
from notify.core.errors import NotFound
from notify.flows import forget, suppressions
from notify.flows.check_in import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import people, visits
from notify.wiring import Services, build
from tests.parts.backups import age, make_kept
from tests.parts.clock import FakeClock
from tests.parts.house import House
from tests.parts.installation import Installation, Serving, make_installation, owner_of
from tests.parts.missing import missing
from tests.parts.postgres import server_programs
from tests.parts.processes import die_with_parent

pytestmark = [pytest.mark.real, pytest.mark.long]
ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text("utf-8")


def drill() -> list[str]:
    """The commands of the drill, but for the last one, which goes on for ever."""
    part = README.partition("**The drill, on a new machine.**")[2]
    block = re.search(r"```\n(.*?)```", part, re.DOTALL)
    assert block is not None
    lines = [line for line in block[1].splitlines() if line.strip()]
    assert lines[-1] == "shelfbell serve"
    return lines[:-1]


def bring(services: Services, number: int) -> str:
    """Somebody brings a radio; who they are."""
    form = VisitForm(
        bringer=PersonForm(name=f"Ines Farrow {number}", email=f"ines{number}@example.org"),
        devices=(DeviceForm("Kestrel pocket radio"),),
    )  # fmt: skip
    done = check_in(services.context, owner_of(services), form)
    with services.context.db.read(services.shop_ids()[0]) as unit:
        return str(visits.visit_people(unit, done.visit_id)["bringer"][0])


def wait_until(holds: Callable[[], bool], *, seconds: float = 60) -> None:
    ends = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < ends, "it did not come in time"
        time.sleep(0.1)


def is_readable(services: Services, person_id: str) -> bool:
    try:
        with services.context.db.read(services.shop_ids()[0]) as unit:
            return people.get_person(unit, person_id).name.startswith("Ines")
    except NotFound:
        return False


def shelfbell(installation: Installation, *words: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "notify", *words, "--config", str(installation.config)], cwd=ROOT,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, preexec_fn=die_with_parent(signal.SIGKILL),
    )  # fmt: skip


def test_the_drill_of_the_readme_brings_the_shop_back_on_another_machine(tmp_path: Path) -> None:
    media = tmp_path / "media"
    for name in ("backup/shelfbell", "apart/shelfbell", "safe"):
        (media / name).mkdir(parents=True, mode=0o700)
    shop = make_installation(
        tmp_path, **{"backup.folder": str(media / "backup/shelfbell"),
                     "backup.keys_folder": str(media / "apart/shelfbell")},
    )  # fmt: skip
    services = shop.open()
    stays, goes = bring(services, 1), bring(services, 2)
    with Serving(shop) as serving:
        serving.wait_ready()
        cut = shelfbell(shop, "backup")  # killed somewhere in between
        time.sleep(0.9)
        cut.kill()
        cut.communicate()
        wait_until(lambda: any((media / "backup/shelfbell").glob("shelfbell-*.age")))  # the nightly one, by itself
        wait_until(lambda: (media / "apart/shelfbell/erased.txt").exists())
        assert serving.get("/sign-in") == 200
    assert [one.name for one in shop.config.parent.joinpath("data").glob(".scratch-*") if one.stat().st_size] == []
    forget.erase_person(services.context, owner_of(services), goes)
    time.sleep(0.01)
    keep_list_beside(services)
    shop.close()
    shutil.copy(shop.config, media / "safe" / "config.toml")
    shutil.copytree(shop.config.parent / "keys", media / "safe" / "keys")
    shutil.rmtree(shop.config.parent)  # the machine is lost

    home = tmp_path / "home"
    (home / "bin").mkdir(parents=True)
    program = home / "bin" / "shelfbell"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m notify "$@"\n')
    program.chmod(0o755)
    newest = {kind: max((media / folder).glob(f"{kind}-*.age")).name
              for kind, folder in (("shelfbell", "backup/shelfbell"), ("keys", "apart/shelfbell"))}  # fmt: skip
    script = "\n".join(drill()).replace("/media/", f"{media}/")
    for kind, name in newest.items():
        script, times = re.subn(rf"{kind}-\d{{8}}T\d{{6}}Z\.age", name, script)
        assert times == 1
    env = {**os.environ, "HOME": str(home), "PATH": f"{home / 'bin'}:{os.environ['PATH']}", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(["sh", "-ec", script], env=env, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    again = Installation(home / "shelfbell" / "config.toml", shop.port)
    restored = again.open()
    found = (is_readable(restored, stays), is_readable(restored, goes))
    again.close()
    print(f"FIGURE restore_drill lines={len(drill())} came_back={int(found[0])} resurrected={int(found[1])}")
    assert found == (True, False) and "forgotten since and taken out again: 1 " in done.stdout


def test_a_restore_that_is_killed_anywhere_leaves_an_empty_place_or_a_whole_shop(
    database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None
) -> None:
    class Cut(BaseException):
        pass

    kept = make_kept(tmp_path, database_urls("sqlite"), clock)
    kept.house.check_in()
    made = kept.back_up()
    for point in ("restore:opened", "restore:ready", "restore:half"):
        other = kept.empty_copy(point.partition(":")[2])

        def fault(here: str, wanted: str = point) -> None:
            if here == wanted:
                raise Cut

        named = restore.Files(kept.folder / made.file, kept.keys_folder / made.keys_file)
        with pytest.raises(Cut):
            restore.bring_back(load(other), named, clock=clock, fault=fault)
        left = sorted(one.name for one in (other.parent / "data").iterdir())
        assert left == (["keys.db"] if point == "restore:half" else [])  # never a database that could be served
        if point == "restore:half":
            named = restore.Files(kept.folder / made.file)
        assert restore.bring_back(load(other), named, clock=clock).proved
    kept.house.services.close()


def test_postgresql_comes_back_by_its_own_tools_without_whom_was_forgotten_since(
    database_urls: Callable[[str], str], tmp_path: Path, clock: FakeClock, tzdata_only: None
) -> None:
    tools = server_programs()
    for program in ("pg_dump", "pg_restore"):
        if not (tools / program).is_file():
            missing(f"PostgreSQL's {program}", "apt-get install postgresql-client")
    url = database_urls("postgresql")
    kept = make_kept(tmp_path, url, clock)
    house = kept.house
    who = [visits_bringer(house, house.check_in(email=f"n{n}@example.org").visit_id) for n in range(2)]
    made = kept.back_up()  # the keys and the list; the database has its own tools
    assert (made.file, bool(made.keys_file)) == ("", True)
    dump, address = tmp_path / "shelfbell.dump", url.replace("postgresql+psycopg://", "postgresql://")
    subprocess.run([tools / "pg_dump", "--format=custom", f"--file={dump}", address], check=True)
    clock.advance(3600)
    forget.erase_person(house.ctx, house.actor(), who[0])
    suppressions.add(house.ctx, house.actor(), channel="email", address="n1@example.org")
    keep_list_beside(house.services)
    settings = load(kept.config)
    house.services.close()
    keys = Path(settings.database.keys_url.removeprefix("sqlite:///"))
    for one in keys.parent.glob("keys.db*"):
        one.unlink()
    hand = age(kept.config.parent / "keys" / "backup.key", kept.keys_folder / made.keys_file, tmp_path / "hand")
    shutil.copy(hand / "keys.db", keys)  # the copy of the keys from before: it alone would bring them back
    subprocess.run([tools / "pg_restore", "--clean", "--if-exists", f"--dbname={address}", dump], check=True)
    named = restore.Files(erasures=kept.folder / "erased.txt")
    after = restore.finish(settings, named, clock=clock)
    again = build(settings, clock=clock)
    with again.context.db.read(house.shop_id) as unit:
        left = [people.get_person(unit, one).forgotten for one in who]
        stopped = [one.suppressed_how for one in people.contacts_of(unit, who[1]) if one.channel == "email"]
    again.close()
    twice = restore.finish(settings, named, clock=clock)
    figures = f"lost={after.lost} twice={twice.erased} stopped={after.stopped}"
    print(f"FIGURE restore_postgresql people=2 resurrected={int(not left[0])} {figures}")
    assert left == [True, False] and (after.erased, after.lost, twice.erased) == (1, 0, 0)
    assert stopped == ["added"] and (after.stopped, twice.stopped) == (1, 0)


def visits_bringer(house: House, visit_id: str) -> str:
    with house.read() as unit:
        return str(visits.visit_people(unit, visit_id)["bringer"][0])
