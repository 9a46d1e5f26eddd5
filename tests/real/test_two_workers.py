"""Two `shelfbell worker` processes on one PostgreSQL: two dispatchers and two schedulers, and nothing is done twice."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from email import message_from_bytes
from pathlib import Path

import pytest

from notify.flows import check_in, moves, set_up
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import messages
from notify.wiring import Services
from tests.parts.installation import NEVER_QUIET, Serving, make_installation, owner_of
from tests.parts.smtp_server import SmtpServer

pytestmark = pytest.mark.real
VISITS = 50


def record_visits(services: Services) -> list[str]:
    """Fifty visits whose devices go on the shelf, each with two messages that are due as soon as they are made."""
    owner, visits = owner_of(services), []
    for n in range(VISITS):
        form = VisitForm(PersonForm(f"Customer {n}", email=f"customer{n}@example.org"), devices=(DeviceForm("Radio"),))
        done = check_in.check_in(services.context, owner, form)
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(services.context, owner, done.ticket_ids[0], phase)
        visits.append(done.visit_id)
    return visits


def _waiting(services: Services) -> bool:
    with services.context.db.read(services.shop_ids()[0]) as unit:
        rows = messages.list_messages(unit, states=["waiting"], limit=10_000)
    return any(row.reason != "waits_for_newer" for row in rows)


def test_two_workers_send_each_message_once_and_run_each_job_once(
    database_urls: Callable[[str], str], start_smtp: Callable[..., SmtpServer], tmp_path: Path
) -> None:
    server = start_smtp(security="none")
    shop = make_installation(tmp_path, **{
        "database.url": database_urls("postgresql"), "mail.transport": "smtp", "mail.host": "127.0.0.1",
        "mail.port": server.port, "mail.security": "none", "bell.wait_seconds": 0, **NEVER_QUIET,
    })  # fmt: skip
    services = shop.open()
    set_up.change_settings(services.context, owner_of(services), {"collection_days": [0]})
    workers = [Serving(shop, "worker") for _ in range(2)]
    try:
        visits = record_visits(services)
        until = time.monotonic() + 60
        while _waiting(services) and time.monotonic() < until:
            assert all(one.process.poll() is None for one in workers)
            time.sleep(0.05)
        time.sleep(1.5)  # whatever would come twice, comes now
        hands = server.connections
    finally:
        ends = [one.stop() for one in workers]
    often = Counter(str(message_from_bytes(one.content)["Message-ID"]) for one in server.messages)
    with services.context.db.read(services.shop_ids()[0]) as unit:
        rows = messages.list_messages(unit, limit=10_000)
    ours, shop_mail = [row for row in rows if row.person_id], {row.message_id for row in rows if not row.person_id}
    told = set(often) - shop_mail
    shop.close()
    print(f"FIGURE A10_two_workers database=postgresql workers=2 messages={len(ours)} sent={len(often)} "
          f"doubled={often.total() - len(often)} connections={hands}")  # fmt: skip
    assert {(row.state, row.reason) for row in ours} <= {
        ("sent", ""), ("dropped", "overtaken"), ("waiting", "waits_for_newer")
    }  # fmt: skip
    assert set(often.values()) == {1} and {row.message_id for row in ours if row.state == "sent"} == told
    assert {row.visit_id for row in ours if row.state == "sent" and row.notice == "ready"} == set(visits)
    assert hands >= 2, "one worker did all: there was no race"
    assert all("Traceback" not in errors and " ERROR " not in errors for _, _, errors in ends), ends
