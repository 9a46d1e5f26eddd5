"""A channel for text messages by a GSM modem with the shop's own SIM."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol

from notify.channels.base import Outgoing, Receipt, Verdict, clean
from notify.channels.sms_text import TextMessage, read_text_message

WAIT_FOR_PARTS = timedelta(days=1)
MOST_WAITING = 10  # parts whose others have not come; a SIM has room for as few as 20, and must not be filled by one
Split = Callable[[str], Sequence[str]]


class ModemFault(Exception):
    """The modem did not take a part; `lasting` when the network said that it never will, the number given."""

    def __init__(self, code: str, text: str, *, lasting: bool = False) -> None:
        super().__init__(code, text)
        self.code, self.text, self.lasting = code, text, lasting


@dataclass(frozen=True, slots=True, repr=False)
class Stored:
    """One part in the modem's store: where, from whom, when. A part of a longer text has its `mark` and numbers."""

    place: int
    number: str
    text: str
    at: datetime
    mark: int = -1
    part: int = 1
    parts: int = 1


@dataclass(frozen=True, slots=True, repr=False)
class Arrived:
    """A whole text message that somebody wrote to the SIM, and where its parts lie."""

    number: str
    text: str
    at: datetime
    places: tuple[int, ...]


class Modem(Protocol):
    """What sends one part at a time. `udh` is the user data header that joins the parts, b"" for a single one."""

    def send(self, number: str, text: str, *, unicode: bool, udh: bytes) -> int:
        """Hand one part to the network; the network's reference of it. Raises ModemFault."""
        ...

    def read(self) -> Sequence[Stored]:
        """Every part that came and was not dropped yet. Raises ModemFault."""
        ...

    def drop(self, place: int) -> None:
        """Forget one part. Raises ModemFault."""
        ...

    def close(self) -> None:
        """Let the modem go."""
        ...


class SmsModem:
    """Splits a text itself and sends its parts in order, one message at a time: a modem has one line.

    `split` gives the parts (render/sms.py), `is_plain` says whether the 7-bit alphabet will do. ACCEPTED means that
    the network took every part. When one of the later parts is refused nobody knows what the phone shows: UNKNOWN.
    """

    def __init__(self, open_modem: Callable[[], Modem], *, split: Split, is_plain: Callable[[str], bool]) -> None:
        self._open, self._split, self._is_plain = open_modem, split, is_plain
        self._modem: Modem | None = None
        self._lock = threading.Lock()

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send."""
        read = read_text_message(outgoing)
        if isinstance(read, Receipt):
            return read
        with self._lock:
            return self._send(read)

    def arrived(self, *, now: datetime) -> Sequence[Arrived]:
        """What people wrote to the SIM. Raises ModemFault."""
        with self._lock:
            return joined(self._used(lambda modem: modem.read()), now=now)

    def done(self, message: Arrived) -> None:
        """Drops a message that was taken; a store that is full takes no more. Raises ModemFault."""
        with self._lock:
            for place in message.places:
                self._used(lambda modem, place=place: modem.drop(place))  # type: ignore[misc]

    def close(self) -> None:
        """Give the port back."""
        with self._lock:
            self._drop()

    def _used(self, step: Callable[[Modem], Any]) -> Any:
        try:
            self._modem = self._modem or self._open()
            return step(self._modem)
        except ModemFault:
            self._drop()
            raise

    def _send(self, message: TextMessage) -> Receipt:
        parts, sent, reference = self._split(message.text), 0, 0
        plain = self._is_plain(message.text)
        try:
            self._modem = self._modem or self._open()
            for number, part in enumerate(parts, 1):
                header = concatenation(message.identity, len(parts), number)
                reference = self._modem.send(message.to, part, unicode=not plain, udh=header)
                sent = number
        except ModemFault as fault:
            self._drop()
            return _receipt(fault, sent=sent, to=message.to)
        return Receipt(Verdict.ACCEPTED, "modem-sent", provider_id=f"{message.identity}/{reference}"[:120])

    def _drop(self) -> None:
        """A modem that stumbled is opened anew for the next message."""
        modem, self._modem = self._modem, None
        if modem is not None:
            modem.close()


def joined(stored: Sequence[Stored], *, now: datetime) -> Sequence[Arrived]:
    """Whole messages, the oldest first. What lacks a part is waited for a day, then told as far as it came.

    Of more than MOST_WAITING parts that wait so, the oldest are told at once.
    """
    groups: dict[tuple[object, ...], dict[int, Stored]] = {}
    for one in stored:
        alone = one.parts == 1
        key = (one.place,) if alone else (one.number, one.mark, one.parts)
        groups.setdefault(key, {}).setdefault(one.part, one)
    whole, waiting = [], 0
    for parts in sorted(groups.values(), key=lambda parts: parts[min(parts)].at, reverse=True):
        first = parts[min(parts)]
        lacks = len(parts) < first.parts
        waiting += len(parts) if lacks else 0
        if not lacks or now - first.at > WAIT_FOR_PARTS or waiting > MOST_WAITING:
            whole.append(_arrived(parts))
    return sorted(whole, key=lambda one: one.at)


def _arrived(parts: dict[int, Stored]) -> Arrived:
    """One message out of its parts. A sign that was cut in two between them is whole again; a half one is a mark."""
    first, text = parts[min(parts)], "".join(parts[number].text for number in sorted(parts))
    signs = text.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    return Arrived(first.number, signs, first.at, tuple(one.place for one in parts.values()))


def concatenation(identity: str, parts: int, number: int) -> bytes:
    """The user data header of one part (TS 23.040 9.2.3.24.1): 8-bit reference, how many, which; none for a single one.

    The reference comes from the message's identity, so that a repeated try joins with what arrived before.
    """
    if parts == 1:
        return b""
    return bytes((5, 0, 3, hashlib.sha256(identity.encode()).digest()[0], parts, number))


def _receipt(fault: ModemFault, *, sent: int, to: str) -> Receipt:
    told = clean(fault.text, to=to)
    if sent:
        return Receipt(Verdict.UNKNOWN, fault.code, f"{told} {sent} parts had left by then.")
    return Receipt(Verdict.NEVER if fault.lasting else Verdict.TRY_LATER, fault.code, told)
