"""Adapter for what a mail server's answer means for the next try; one kind of case of the area "mail"."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

from notify.channels.base import Outgoing, Receipt, Verdict
from notify.channels.smtp import SmtpChannel, SmtpSettings
from notify.core.retry import Patience, next_try, patience_for
from tests.channels.scripted import Fault, ScriptedServer, say

FIRST = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)


def tried_again(given: dict[str, Any], expect: dict[str, Any]) -> None:
    """A server that answers so to every recipient: how often, and when, the same message is offered to it."""
    receipt = _answered(given["reply"])
    if not expect.get("retry", True):
        assert receipt.verdict is Verdict.NEVER
        return
    assert receipt.verdict is Verdict.TRY_LATER
    patience = patience_for("email", receipt.code)
    for jitter in (0.0, 0.5, 1.0):
        at = _tries(patience, jitter)
        assert sum(moment - FIRST < HOUR for moment in at) == expect["attempts_first_hour"]
        least = timedelta(minutes=expect["min_interval_min_after_first_hour"])
        late = [(early, after) for early, after in pairwise(at[:-1]) if early - FIRST >= HOUR]
        assert late and all(after - early >= least for early, after in late)
        assert at[-1] - FIRST >= timedelta(days=expect["give_up_days_min"])
    if expect["configurable"]:
        other = replace(patience, waits=(HOUR,), then_every=HOUR, give_up_after=5 * HOUR)
        assert len(_tries(other, 0)) < len(_tries(patience, 0))


def _answered(reply: str) -> Receipt:
    """What our channel makes of it, asked over the loopback."""
    server = ScriptedServer(fault=Fault("rcpt", say(reply.encode() + b" as given\r\n"), times=1)).start()
    channel = SmtpChannel(SmtpSettings(host="localhost", port=server.port, security="none", timeout=5.0))
    try:
        payload = b"From: bench@example.org\r\nTo: pat@example.org\r\nMessage-ID: <m1@example.org>\r\n\r\nReady.\r\n"
        return channel.send(Outgoing("<m1@example.org>", "pat@example.org", "bench@example.org", payload))
    finally:
        channel.close()
        server.stop()


def _tries(patience: Patience, jitter: float) -> list[datetime]:
    at = [FIRST]
    while due := next_try(len(at), first_at=FIRST, now=at[-1], jitter=jitter, patience=patience):
        at.append(due)
        assert len(at) < 1000
    return at


AREAS: dict[str, Any] = {}
