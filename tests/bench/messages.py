"""Messages, whole life: from the event to the settled receipt, and the dispatcher's part of it alone."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.dispatch.said import Saying, gather_said
from notify.render.email import Mailbox
from notify.store import messages, people, shops
from tests.bench import baselines
from tests.bench.line import Figure, alternate, compare, cpu
from tests.bench.processes import Helper, cores, helper, on_core
from tests.bench.stage import check_in, drain, house_on, put_back, shelve, stage
from tests.parts.house import House

BASELINE = (
    "bare loop: the same texts and mail composed by the same functions from facts already at hand, "
    "smtplib.sendmail(bytes) on one persistent connection; no database, no second look, no receipt. "
    "smtplib waits for each answer, ours sends MAIL, RCPT and DATA together as the mail server offers (RFC 2920). "
    "The sender on one core, the mail server on another, as it would be on another machine"
)


@dataclass(frozen=True, slots=True)
class Plan:
    """One figure: `prepare` gives a round's visits, `work` brings their messages out."""

    name: str
    goal: float
    n: int
    prepare: Callable[[], list[str]]
    work: Callable[[], None]


def figures(*, n: int, rounds: int, drained: int, drain_rounds: int) -> list[Figure]:
    """`messages_whole_life` with `n` messages a round, `outbox_drain` with `drained` messages a round."""
    with _house() as (house, sink):
        whole = _measure(house, sink, _whole_life(house, n), rounds=rounds)
    with _house() as (house, sink):
        return [whole, _measure(house, sink, _drain(house, drained), rounds=drain_rounds)]


@contextmanager
def _house() -> Iterator[tuple[House, Helper]]:
    """A wired installation on SQLite that sends over SMTP to the sink."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder, helper("tests.bench.sink") as sink:
        sink.stay_on(cores()[1])
        channel = SmtpChannel(SmtpSettings("127.0.0.1", int(sink.first), security="none"))
        with house_on(Path(folder), channel) as house, on_core(cores()[0]):
            yield house, sink


def _whole_life(house: House, n: int) -> Plan:
    """Each round has its own visits: their devices go on the shelf, the bell waits, everything due is delivered."""
    tickets: list[str] = []

    def prepare() -> list[str]:
        tickets[:], visits = check_in(house, n)
        return visits

    def work() -> None:
        shelve(house, tickets)
        house.clock.advance(91)
        assert drain(house) == n

    return Plan("messages_whole_life", 0.5, n, prepare, work)


def _drain(house: House, n: int) -> Plan:
    """The same messages in each round, waiting as if nobody had looked at them yet: claim to settled receipt."""
    visits = stage(house, n)

    def prepare() -> list[str]:
        put_back(house, n, composed=False)
        return visits

    def work() -> None:
        assert drain(house) == n

    return Plan("outbox_drain", 0.8, n, prepare, work)


def _measure(house: House, sink: Helper, plan: Plan, *, rounds: int) -> Figure:
    line = baselines.open_line(int(sink.first))
    sender = sender_of(house)
    before, same, busy = sink.ask()["messages"], 0, {"ours": 0.0, "theirs": 0.0}
    visits: list[str] = []

    def timed(side: str, number: int, work: Callable[[], object]) -> float:
        began, busy_then = time.perf_counter(), time.process_time()
        work()
        taken = time.perf_counter() - began
        busy[side] += time.process_time() - busy_then if number else 0.0
        return plan.n / taken

    def we(number: int) -> float:
        visits[:] = plan.prepare()
        rate = timed("ours", number, plan.work)
        house.ctx.db.checkpoint()
        return rate

    def they(number: int) -> float:
        nonlocal same
        letters, sent = as_letters(house, visits)
        texts = house.services.texts
        rate = timed("theirs", number, lambda: baselines.compose_and_send(line, letters, texts=texts, sender=sender))
        bare = (baselines.compose_bare(one, texts=texts, sender=sender) for one in letters)
        same += sum(a == b for a, b in zip(bare, sent, strict=True))
        return rate

    pairs = alternate(rounds, we, they)
    line.quit()
    counted = sink.ask()
    ratio, ours, theirs = compare(pairs, unit="messages/s")
    more = {"same_bytes": same, "taken_by_sink": counted["messages"] - before,
            "octets_a_message": counted["octets"] // counted["messages"],
            **cpu(busy["ours"], busy["theirs"], n=plan.n * rounds)}  # fmt: skip
    return Figure(plan.name, ratio, plan.goal, BASELINE, plan.n * rounds, ours, theirs, more=more)


def sender_of(house: House) -> Mailbox:
    """Whom mails are from: the shop's name before the address that the settings name."""
    sender = house.services.dispatcher.preparer.composer.sending.sender
    with house.read() as unit:
        shop = shops.get_shop(unit, today=house.clock().date())
    return Mailbox(sender.name or shop.name, sender.address)


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
