"""Killed while it takes signed calls and tells a listener: what was answered is kept, and nothing is lost."""

from __future__ import annotations

import json
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from sqlalchemy import select

from notify.flows import listeners
from notify.flows.check_in import check_in
from notify.flows.check_in_form import DeviceForm, PersonForm, VisitForm
from notify.store import schema as s
from notify.store import tickets
from tests.dispatch.test_tell_listeners import Other
from tests.parts.installation import Installation, Serving, make_installation, owner_of
from tests.parts.signed_source import COLUMNS, NAME, SECRET, WORDS, event
from tests.parts.tampered import signed

pytestmark = [pytest.mark.real, pytest.mark.long]
KILLS, WORKERS = 1, 4
SOURCE = f"""
[watch.{NAME}]
kind = "webhook"
secret_file = "keys/source.key"
columns = {{{", ".join(f'{ours} = "{theirs}"' for ours, theirs in COLUMNS.items())}}}
phase_words = {{{", ".join(f'"{theirs}" = "{ours}"' for theirs, ours in WORDS.items())}}}
"""


def call(port: int, number: str) -> int:
    """One call that the device is done; its status, 0 for no answer."""
    body = json.dumps(event(number, "done", event_id=number)).encode()
    headers, _ = signed(SECRET, body, at=int(time.time()), call_id=f"msg_{number}")
    address = f"http://127.0.0.1:{port}/hooks/watch/{NAME}"
    ask = urllib.request.Request(address, body, {**headers, "Content-Type": "application/json"})
    try:
        with urllib.request.urlopen(ask, timeout=10) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code
    except OSError:
        return 0


def prepare(folder: Path, other: Other, devices: int) -> tuple[Installation, list[str]]:
    """An installation with a source, a listener on this machine, and devices that are taken in."""
    made = make_installation(folder, **{"listeners.inner_hosts": ["127.0.0.1"]})
    made.config.write_text(made.config.read_text("utf-8") + SOURCE, "utf-8")
    key = made.config.parent / "keys/source.key"
    key.write_text(SECRET)
    key.chmod(0o600)
    services = made.open()
    owner = owner_of(services)
    address = f"http://127.0.0.1:{other.gateway.port}/"
    listeners.add(services.context, owner, name="Till", address=address, inner_hosts=("127.0.0.1",))
    form = VisitForm(PersonForm("Ines Farrow", email="ines@example.org"), (DeviceForm("Kestrel radio"),))
    numbers = [check_in(services.context, owner, form).numbers[0] for _ in range(devices)]
    services.close()
    return made, numbers


def test_what_was_answered_is_kept_and_the_listener_hears_all_of_it(tmp_path: Path, tzdata_only: None) -> None:
    other = Other()
    made, numbers = prepare(tmp_path, other, 60)
    left, answered = list(numbers), set[str]()

    def work(until: threading.Event) -> None:
        while not until.is_set() and left:
            number = left.pop()
            if call(made.port, number) == 200:
                answered.add(number)
            else:
                left.insert(0, number)

    for turn in range(KILLS + 1):
        with Serving(made) as serving:
            stop = threading.Event()
            threads = [threading.Thread(target=work, args=(stop,)) for _ in range(WORKERS)]
            for one in threads:
                one.start()
            if turn < KILLS:
                time.sleep(0.4)
                serving.kill()
                stop.set()
            for one in threads:
                one.join()
            if turn == KILLS:
                wait_until_told(made, other)
    services = made.open()
    with services.context.db.read(services.shop_ids()[0]) as unit:
        kept = {n for n in numbers if tickets.find_by_number(unit, n).phase == "on_shelf"}
        events = list(unit.connection.execute(select(s.events.c.id).order_by(s.events.c.seq)).scalars())
    services.close()
    other.gateway.stop()
    lost, unheard = len(answered - kept), len(set(events) - set(other.ids))
    twice = len(other.ids) - len(set(other.ids))
    print(f"FIGURE signed_calls_killed kills={KILLS} answered={len(answered)} lost={lost} "
          f"events={len(events)} unheard={unheard} heard_twice={twice}")  # fmt: skip
    assert answered == set(numbers) and (lost, unheard) == (0, 0) and twice <= KILLS
    assert list(dict.fromkeys(other.ids)) == events


def wait_until_told(made: Installation, other: Other) -> None:
    """Until the listener has heard everything; at most half a minute."""
    services = made.open()
    for _ in range(300):
        (one,) = listeners.list_all(services.context, owner_of(services))
        if not one.behind and other.ids:
            break
        time.sleep(0.1)
    services.close()
