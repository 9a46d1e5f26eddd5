"""The SMTP channel alone: messages composed before, handed over one after the other.

Sender and sink stay on one core. Left to the system, they share one in some rounds and not in others, by how busy
the machine is, and waking a sleeping core takes ten times as long as the work (1,000 messages a second instead of
14,000, on either side): the figure would tell which side was lucky.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime

from notify.channels.base import Outgoing, Verdict
from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.render.email import Mailbox, compose_mail
from tests.bench import baselines
from tests.bench.line import Figure, alternate, compare
from tests.bench.processes import cores, helper, on_core

SENDER = "counter@example.org"
BASELINE = (
    "smtplib.sendmail(bytes) on one persistent connection, the same bytes to the same sink, both on one core; "
    "smtplib waits for each answer, ours sends MAIL, RCPT and DATA together as the sink offers (RFC 2920); "
    "no check of address or payload, no deadline over a whole reply, no receipt"
)


def figures(*, n: int, rounds: int) -> list[Figure]:
    """`smtp_channel`; `n` messages a round."""
    letters = [_letter(number) for number in range(n)]
    payloads = [(one.to, one.payload) for one in letters]
    with helper("tests.bench.sink") as sink, on_core(cores()[0]):
        sink.stay_on(cores()[0])
        channel = SmtpChannel(SmtpSettings("127.0.0.1", int(sink.first), security="none"))
        line = baselines.open_line(int(sink.first))

        def we(_: int) -> float:
            began = time.perf_counter()
            receipts = [channel.send(one) for one in letters]
            taken = time.perf_counter() - began
            assert all(one.verdict is Verdict.ACCEPTED for one in receipts), receipts[-1]
            return n / taken

        def they(_: int) -> float:
            began = time.perf_counter()
            baselines.send_only(line, payloads, sender=SENDER)
            return n / (time.perf_counter() - began)

        pairs = alternate(rounds, we, they)
        line.quit()
        channel.close()
        counted = sink.ask()
    ratio, ours, theirs = compare(pairs, unit="messages/s")
    more = {"taken_by_sink": counted["messages"], "octets_a_message": counted["octets"] // counted["messages"]}
    return [Figure("smtp_channel", ratio, 0.9, BASELINE, n * rounds, ours, theirs, more=more)]


def _letter(number: int) -> Outgoing:
    to, identity = f"ines{number}@example.org", f"<{number}.email.0@example.org>"
    payload = compose_mail(
        sender=Mailbox("Tramstop Bench", SENDER), to=to, reply_to=None, subject="Your Kestrel pocket radio is ready",
        text="Come and collect it.\n" * 40, html="<p>Come and collect it.</p>\n" * 40, message_id=identity,
        date=datetime(2026, 11, 25, 9, 0, tzinfo=UTC), language="en",
    )  # fmt: skip
    return Outgoing(identity, to, SENDER, payload)
