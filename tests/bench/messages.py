"""Messages, whole life: from the event to the settled receipt, and the dispatcher's part of it alone."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.dispatch.said import Saying, gather_said
from notify.flows import moves
from notify.flows.check_in_form import DeviceForm
from notify.store import messages, migrate, people, shops
from tests.bench import baselines
from tests.bench.line import Figure, alternate, compare, cpu
from tests.bench.processes import Helper, helper
from tests.parts.clock import FakeClock
from tests.parts.house import House, make_house

BASELINE = (
    "bare loop: the same texts and mail composed by the same functions from facts already at hand, "
    "smtplib.sendmail(bytes) on one persistent connection; no database, no second look, no receipt"
)


@dataclass(frozen=True, slots=True)
class Round:
    """One round of ours: seconds to record the events, and to claim, compose, send and settle; CPU seconds of both."""

    recording: float
    draining: float
    cpu_recording: float
    cpu_draining: float


def figures(*, n: int, rounds: int) -> list[Figure]:
    """`messages_whole_life` and `outbox_drain` of one run; `n` messages a round."""
    with (
        tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder,
        helper("tests.bench.sink") as sink,
        _house(Path(folder), int(sink.first)) as house,
    ):
        return _measure(house, sink, n=n, rounds=rounds)


@contextmanager
def _house(folder: Path, port: int) -> Iterator[House]:
    """A wired installation on SQLite with the product's own pragmas, sending over SMTP to the sink."""
    url = f"sqlite:///{folder / 'shelfbell.db'}"
    migrate.upgrade(url)
    channel = SmtpChannel(SmtpSettings("127.0.0.1", port, security="none"))
    house = make_house(folder, url, clock=FakeClock(), channels={"email": channel})
    try:
        yield house
    finally:
        house.services.close()


def _measure(house: House, sink: Helper, *, n: int, rounds: int) -> list[Figure]:
    visits: list[list[str]] = []
    ours: list[Round] = []
    line = baselines.open_line(int(sink.first))
    sender = house.services.dispatcher.preparer.composer.sending.sender
    same, cpu_theirs = 0, 0.0

    def we(number: int) -> float:
        tickets, batch = prepare(house, n)
        visits.append(batch)
        ours.append(tell(house, tickets))
        house.ctx.db.checkpoint()
        return n / (ours[-1].recording + ours[-1].draining)

    def they(number: int) -> float:
        nonlocal same, cpu_theirs
        letters, sent = as_letters(house, visits[number])
        began, busy = time.perf_counter(), time.process_time()
        baselines.compose_and_send(line, letters, texts=house.services.texts, sender=sender)
        taken = time.perf_counter() - began
        cpu_theirs += time.process_time() - busy if number else 0.0
        bare = (baselines.compose_bare(one, texts=house.services.texts, sender=sender) for one in letters)
        same += sum(a == b for a, b in zip(bare, sent, strict=True))
        return n / taken

    pairs = alternate(rounds, we, they)
    line.quit()
    counted = sink.ask()
    more = {"same_bytes": same, "taken_by_sink": counted["messages"],
            "octets_a_message": counted["octets"] // counted["messages"]}  # fmt: skip
    drained = [(n / one.draining, theirs) for one, (_, theirs) in zip(ours[1:], pairs, strict=True)]
    draining = sum(one.cpu_draining for one in ours[1:])
    whole = draining + sum(one.cpu_recording for one in ours[1:])
    return [
        _figure("messages_whole_life", pairs, n * rounds, more | cpu(whole, cpu_theirs, n=n * rounds)),
        _figure("outbox_drain", drained, n * rounds, more | cpu(draining, cpu_theirs, n=n * rounds)),
    ]


def _figure(name: str, pairs: list[tuple[float, float]], n: int, more: dict[str, Any]) -> Figure:
    ratio, ours, theirs = compare(pairs, unit="messages/s")
    return Figure(name, ratio, 0.5, BASELINE, n, ours, theirs, more=dict(more))


def prepare(house: House, n: int) -> tuple[list[str], list[str]]:
    """`n` visits whose device is on the bench, nothing waiting in the outbox: (tickets, visits)."""
    tickets, visits = [], []
    for number in range(n):
        device = DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound", price_agreed="30")
        done = house.check_in(device, name=f"Ines Farrow {number}", phone="", email=f"ines{number}@example.org")
        tickets.append(done.ticket_ids[0])
        visits.append(done.visit_id)
        for phase in ("in_line", "on_bench"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.deliver(after=91)
    return tickets, visits


def tell(house: House, tickets: list[str]) -> Round:
    """Each device goes on the shelf; then the bell has waited and everything due is delivered."""
    began, busy = time.perf_counter(), time.process_time()
    for ticket_id in tickets:
        moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="repaired")
    recorded, busy_then = time.perf_counter(), time.process_time()
    house.clock.advance(91)
    while house.services.dispatcher.run_once(house.shop_id):
        pass
    return Round(recorded - began, time.perf_counter() - recorded, busy_then - busy, time.process_time() - busy_then)


def as_letters(house: House, visits: list[str]) -> tuple[list[baselines.Letter], list[bytes]]:
    """What was sent about the visits' ready devices, as facts at hand for the bare loop, and the bytes sent."""
    sending = house.services.dispatcher.preparer.composer.sending
    now = house.clock()
    letters, sent = [], []
    with house.read() as unit:
        shop = shops.get_shop(unit, today=now.date())
        for visit_id in visits:
            (message,) = (m for m in messages.messages_of_visit(unit, visit_id) if m.notice == "ready")
            assert message.state == "sent", message.state
            language = people.get_person(unit, message.person_id).language
            saying = Saying(sending.public_url, language, house.services.words.get(language))
            context = gather_said(unit, message, shop=shop, saying=saying, now=now)
            (to,) = (c.address for c in people.contacts_of(unit, message.person_id))
            letters.append(baselines.Letter("ready", language, to, message.message_id, context, now))
            sent.append(messages.get_bytes(unit, message))
    return letters, sent
