"""A channel that keeps what it is given in a list, and refuses exactly what the real ones refuse."""

from __future__ import annotations

from collections.abc import Callable

from notify.channels.base import Outgoing, Receipt, Verdict, refusal


class MemoryChannel:
    """Keeps accepted messages in `sent`, in order; `answer` may stand in for what the other side says.

    A message answered with anything but ACCEPTED is not kept in `sent`; every offer is kept in `offered`.
    """

    def __init__(self, answer: Callable[[Outgoing], Receipt] | None = None) -> None:
        self.sent: list[Outgoing] = []
        self.offered: list[Outgoing] = []
        self._answer = answer

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send."""
        refused = refusal(outgoing)
        if refused is not None:
            return refused
        self.offered.append(outgoing)
        receipt = self._answer(outgoing) if self._answer else Receipt(Verdict.ACCEPTED, "kept")
        if receipt.verdict is Verdict.ACCEPTED:
            self.sent.append(outgoing)
        return receipt

    def close(self) -> None:
        """Nothing to close; there so that every channel is closed alike."""
