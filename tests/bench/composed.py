"""Messages whose bytes were kept by an earlier try: handed over durably, and to a server that takes its time."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.dispatch.deliver import Dispatcher
from tests.bench import baselines
from tests.bench.line import Figure, alternate, compare, cpu
from tests.bench.messages import as_letters
from tests.bench.processes import cores, helper, on_core
from tests.bench.stage import Nothing, Way, drain, house_on, put_back, stage
from tests.parts.house import House

SLOW_ANSWER = 0.02
BASELINE = (
    "smtplib.sendmail(bytes) of the same bytes on one persistent connection; no database, no second look, no receipt. "
    "smtplib waits for each answer, ours sends MAIL, RCPT and DATA together as the mail server offers (RFC 2920). "
    "The sender on one core, the mail server on another, as it would be on another machine"
)
ONE_LINE = "the same dispatcher with one connection; every answer of the mail server comes after 20 ms"


def figures(*, n: int, rounds: int, slow: int, slow_rounds: int) -> list[Figure]:
    """`composed_durable` with `n` messages a round, `eight_connections` with `slow` messages a round."""
    with (
        tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as folder,
        helper("tests.bench.sink") as sink,
        helper("tests.bench.sink", str(SLOW_ANSWER)) as far,
    ):
        sink.stay_on(cores()[1])
        near, far_port = int(sink.first), int(far.first)
        way = Way({
            "nothing": Nothing(), "near": _channel(near, 1),
            "one": _channel(far_port, 1), "eight": _channel(far_port, 8),
        })  # fmt: skip
        with house_on(Path(folder), way) as house:
            visits = stage(house, n)
            way.name = "near"
            with on_core(cores()[0]):
                durable = _durable(house, visits, near, rounds=rounds)
            return [durable, _eight(house, way, visits, slow, rounds=slow_rounds)]


def _channel(port: int, connections: int) -> SmtpChannel:
    return SmtpChannel(SmtpSettings("127.0.0.1", port, security="none", connections=connections))


def _durable(house: House, visits: list[str], port: int, *, rounds: int) -> Figure:
    n, busy = len(visits), {"ours": 0.0, "theirs": 0.0}
    letters, sent = as_letters(house, visits)
    payloads = [(letter.to, payload) for letter, payload in zip(letters, sent, strict=True)]
    line, sender = baselines.open_line(port), house.services.dispatcher.preparer.composer.sending.sender.address

    def timed(side: str, number: int, work: Callable[[], object]) -> float:
        began, busy_then = time.perf_counter(), time.process_time()
        work()
        busy[side] += time.process_time() - busy_then if number else 0.0
        return n / (time.perf_counter() - began)

    def we(number: int) -> float:
        put_back(house, n, composed=True)
        return timed("ours", number, lambda: drain(house))

    def they(number: int) -> float:
        return timed("theirs", number, lambda: baselines.send_only(line, payloads, sender=sender))

    ratio, ours, theirs = compare(alternate(rounds, we, they), unit="messages/s")
    line.quit()
    more = {"octets_a_message": sum(map(len, sent)) // n, **cpu(busy["ours"], busy["theirs"], n=n * rounds)}
    return Figure("composed_durable", ratio, 0.7, BASELINE, n * rounds, ours, theirs, more=more)


def _eight(house: House, way: Way, visits: list[str], slow: int, *, rounds: int) -> Figure:
    """Only `slow` of the messages wait. Each side has its own dispatcher, as it learns how long a batch takes."""
    whole = house.services.dispatcher

    def over(name: str) -> Callable[[int], float]:
        worker = Dispatcher(house.ctx.db, whole.preparer, {"email": way}, house.clock, whole.jitter, name)

        def run(_: int) -> float:
            way.name, done = name, 0
            put_back(house, slow, composed=True, visits=visits[:slow])
            began = time.perf_counter()
            while claimed := worker.run_once(house.shop_id):
                done += claimed
            assert done == slow
            return slow / (time.perf_counter() - began)

        return run

    pairs = alternate(rounds, over("eight"), over("one"))
    ratio, ours, theirs = compare(pairs, unit="messages/s")
    return Figure("eight_connections", ratio, 6.0, ONE_LINE, slow * rounds, ours, theirs)
