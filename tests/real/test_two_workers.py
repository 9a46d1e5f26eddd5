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


def record_visits(services: Services) -> None:
    """Fifty visits whose devices go on the shelf: a hundred messages, due as soon as they are made."""
    owner = owner_of(services)
    for n in range(VISITS):
        form = VisitForm(PersonForm(f"Customer {n}", email=f"customer{n}@example.org"), devices=(DeviceForm("Radio"),))
        ticket = check_in.check_in(services.context, owner, form).ticket_ids[0]
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(services.context, owner, ticket, phase)


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
        record_visits(services)
        until = time.monotonic() + 60
        while len(server.messages) < 2 * VISITS and time.monotonic() < until:
            assert all(one.process.poll() is None for one in workers)
            time.sleep(0.05)
        time.sleep(1.5)  # whatever would come twice, comes now
        hands = server.connections
    finally:
        ends = [one.stop() for one in workers]
    often = Counter(str(message_from_bytes(one.content)["Message-ID"]) for one in server.messages)
    with services.context.db.read(services.shop_ids()[0]) as unit:
        rows = messages.list_messages(unit, limit=10_000)
    ours = [row for row in rows if row.person_id]
    shop.close()
    print(f"FIGURE A10_two_workers database=postgresql workers=2 messages={len(ours)} sent={len(often)} "
          f"doubled={often.total() - len(often)} connections={hands}")  # fmt: skip
    assert {row.state for row in ours} == {"sent"} and len(ours) >= 2 * VISITS
    assert set(often.values()) == {1} and {row.message_id for row in ours} <= set(often)
    assert hands >= 2, "one worker did all: there was no race"
    assert all("Traceback" not in errors and " ERROR " not in errors for _, _, errors in ends), ends
