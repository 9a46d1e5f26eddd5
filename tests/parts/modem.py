"""A GSM modem that keeps what it was given and fails where it is told to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from notify.channels.sms_modem import ModemFault, SmsModem, Stored
from notify.render.sms import count, split


@dataclass(frozen=True)
class Part:
    """One part as the network took it."""

    number: str
    text: str
    unicode: bool
    udh: bytes


@dataclass
class ScriptedModem:
    """`refuses` gets the number of a part (from 0, of all ever offered) and gives the fault to raise, or None."""

    refuses: Callable[[int], ModemFault | None] = lambda number: None
    parts: list[Part] = field(default_factory=list)
    offered: int = 0
    opened: int = 0
    closed: int = 0
    store: list[Stored] = field(default_factory=list)
    broken: bool = False

    def channel(self) -> SmsModem:
        """The product's channel on this modem."""
        return SmsModem(self._open, split=split, is_plain=lambda text: count(text).encoding == "GSM-7")

    def _open(self) -> ScriptedModem:
        self.opened += 1
        return self

    def send(self, number: str, text: str, *, unicode: bool, udh: bytes) -> int:
        """See notify.channels.sms_modem.Modem."""
        fault = self.refuses(self.offered)
        self.offered += 1
        if fault is not None:
            raise fault
        self.parts.append(Part(number, text, unicode, udh))
        return len(self.parts) % 256

    def read(self) -> list[Stored]:
        """See notify.channels.sms_modem.Modem."""
        if self.broken:
            raise ModemFault("modem-14", "No answer.")
        return list(self.store)

    def drop(self, place: int) -> None:
        """See notify.channels.sms_modem.Modem."""
        self.store = [one for one in self.store if one.place != place]

    def close(self) -> None:
        """See notify.channels.sms_modem.Modem."""
        self.closed += 1

    def texts(self) -> list[str]:
        """Whole messages as a phone shows them: parts joined by their header (TS 23.040 9.2.3.24.1)."""
        whole: list[str] = []
        for part in self.parts:
            if part.udh and part.udh[5] > 1:
                whole[-1] += part.text
            else:
                whole.append(part.text)
        return whole
