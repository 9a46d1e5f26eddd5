"""The demo as somebody starts it for the first time: every phase, every page it names, every message, a clean end."""

from __future__ import annotations

import http.cookiejar
import json
import os
import re
import signal
import subprocess
import sys
import time
import urllib.parse
import urllib.request
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import select

from notify.cli.demo import _set_up, seed
from notify.cli.demo_stage import ZONE
from notify.cli.main import run
from notify.cli.only_one import only_one
from notify.config.load import load
from notify.core.languages import LANGUAGES
from notify.core.tickets import Phase
from notify.flows import view_bench_order, view_calls, view_day_sheet, view_pickups, view_promises
from notify.flows.view_learned import view_kinds
from notify.flows.view_list import list_tickets
from notify.flows.view_lookup import acting_staff
from notify.store import schema
from notify.wiring import build, system_clock
from tests.parts.installation import ROOT
from tests.parts.log_ear import EAR
from tests.parts.processes import die_with_parent, end, free_ports


@pytest.mark.long
@pytest.mark.parametrize(
    "wall",
    [
        pytest.param("2026-11-25T14:00", marks=pytest.mark.deep),  # as whoever starts it in the afternoon sees it
        "2026-12-01T02:15",
        "2026-10-25T12:00",
        "2027-03-28T11:00",
    ],
)
def test_at_any_hour_the_demo_has_every_phase_and_pickups_today(wall: str, tmp_path: Path) -> None:
    now = datetime.fromisoformat(wall).replace(tzinfo=ZoneInfo(ZONE))
    config = _set_up(tmp_path / "demo", 8600)
    links = seed(config, now)
    services = build(load(config), clock=lambda: now)
    owner = acting_staff(services.context, services.shop_ids()[0], "Marit")
    found = list_tickets(services.context, owner, phases=[phase.value for phase in Phase])
    today = view_pickups.view(services.context, owner)
    tomorrow = view_pickups.view(services.context, owner, day=today.day + timedelta(days=1))
    calls = view_calls.view(services.context, owner).calls
    report, learned = view_promises.view(services.context, owner), view_kinds(services.context, owner)
    better = view_bench_order.view(services.context, owner).about.better
    danger = view_day_sheet.view(services.context, owner).danger
    with services.context.db.read(owner.shop_id) as unit:
        spoken = set(unit.connection.execute(select(schema.people.c.language).distinct()).scalars())
    services.close()
    assert spoken == set(LANGUAGES)  # somebody to look at in every language that customers are written in
    assert len(found) >= 14 and {t.phase for t in found} == set(Phase)
    assert {t.waits_on.value for t in found} == {"customer", "part", "bench", "nobody"}
    assert any("swollen" in t.safety for t in found) and any(t.forgotten for t in found)
    assert len(today.pickups) >= 2 and tomorrow.pickups and calls
    # What is said of forecasts has something to show: learned kinds, promises kept and broken, one in danger, an order.
    assert sum(one.jobs for one in learned) >= 300 and report.losses and 0 < report.kept < report.due >= 30
    assert any(one.threat == "part_late" for one in danger) and better and better.gain >= 0.25
    assert len(links) >= 4 and all(t.since <= now and t.created_at <= now for t in found)


def test_a_folder_that_is_no_demo_is_left_alone(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "diary.txt").write_text("mine")
    assert run(["demo"], here=tmp_path) == 5
    assert "no demo" in capsys.readouterr().err
    assert (tmp_path / "demo" / "diary.txt").read_text() == "mine"


def test_a_demo_that_is_running_is_not_swept_away(tmp_path: Path, capsys: Any) -> None:
    _set_up(tmp_path / "demo", 8600)
    with only_one(tmp_path / "demo" / "data"):
        assert run(["demo"], here=tmp_path) == 5
    assert f"process {os.getpid()}" in capsys.readouterr().err
    assert (tmp_path / "demo" / "config.toml").exists()


@pytest.mark.real
def test_the_demo_starts_shows_its_pages_and_every_message_and_ends_on_ctrl_c(tmp_path: Path) -> None:
    [port] = free_ports(1)
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "notify", "demo", str(tmp_path / "demo"), "--port", str(port), "--json"],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, preexec_fn=die_with_parent(signal.SIGKILL),
    )  # fmt: skip
    try:
        told = _first_object(process)
        ready = time.monotonic() - began
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        for link in told["claims"].values():
            assert browser.open(link, timeout=10).status == 200
        owner = told["people"][0]
        page = browser.open(told["day_sheet"], timeout=10).read().decode()
        token = re.search(r'name="csrf_token" value="([^"]+)"', page)
        assert token
        form = {"csrf_token": token[1], "name": owner["name"], "password": owner["password"]}
        sheet = browser.open(f"{told['day_sheet']}sign-in", urllib.parse.urlencode(form).encode(), timeout=20)
        assert owner["name"] in sheet.read().decode()
        mail = browser.open(told["mail"], timeout=20).read().decode()
        doubted = _read_until(browser, f"{told['day_sheet']}sources", "gone swimming")
        process.send_signal(signal.SIGINT)
        stopping = time.monotonic()
        code = process.wait(timeout=60)
    finally:
        end(process)
    assert doubted  # both sources are read by the running service, and one word waits for a person
    assert mail.count("<li>") >= 30 and "+447700900123" in mail
    took = time.monotonic() - stopping
    crowd = max(1.0, os.getloadavg()[0] / (os.cpu_count() or 1))
    errors = process.communicate()[1].decode()
    EAR.hear(errors, by="the demo")
    print(f"FIGURE demo warm_s={ready:.2f} stopped_s={took:.2f} letters={mail.count('<li>')} crowd={crowd:.1f}")
    assert code == 0 and "Traceback" not in errors, errors


def _read_until(browser: urllib.request.OpenerDirector, address: str, words: str) -> bool:
    """Whether the page says it within half a minute."""
    for _ in range(60):
        if words in browser.open(address, timeout=20).read().decode():
            return True
        time.sleep(0.5)
    return False


def _first_object(process: subprocess.Popen[bytes]) -> Any:
    """The JSON that it prints once it is open; it goes on running."""
    assert process.stdout is not None
    lines: list[bytes] = []
    while not lines or lines[-1] != b"}\n":
        line = process.stdout.readline()
        assert line, process.communicate()[1].decode()
        lines.append(line)
    return json.loads(b"".join(lines))


@pytest.mark.long
def test_the_demo_is_seeded_with_moved_clocks_only_in_its_own_past(tmp_path: Path) -> None:
    now = system_clock()
    config = _set_up(tmp_path / "demo", 8600)
    seed(config, now)
    services = build(load(config))
    owner = acting_staff(services.context, services.shop_ids()[0], "Marit")
    oldest = min(t.created_at for t in list_tickets(services.context, owner, phases=[p.value for p in Phase]))
    services.close()
    assert timedelta(days=105) < now - oldest < timedelta(days=120)
