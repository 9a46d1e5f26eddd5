"""A channel for text messages by a GSM modem with the shop's own SIM."""

from __future__ import annotations

import hashlib
import importlib
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any, Protocol

from notify.channels.base import Outgoing, Receipt, Verdict, clean
from notify.channels.sms_text import TextMessage, read_text_message
from notify.core.errors import Misconfigured

LIBRARY = "gammu"
EXTRA = "Install Shelfbell with its extra: pip install 'shelfbell[modem]'."
Split = Callable[[str], Sequence[str]]


class ModemFault(Exception):
    """The modem did not take a part; `lasting` when the network said that it never will, the number given."""

    def __init__(self, code: str, text: str, *, lasting: bool = False) -> None:
        super().__init__(code, text)
        self.code, self.text, self.lasting = code, text, lasting


class Modem(Protocol):
    """What sends one part at a time. `udh` is the user data header that joins the parts, b"" for a single one."""

    def send(self, number: str, text: str, *, unicode: bool, udh: bytes) -> int:
        """Hand one part to the network; the network's reference of it. Raises ModemFault."""
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

    def close(self) -> None:
        """Give the port back."""
        with self._lock:
            self._drop()

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


class GammuModem:
    """The modem through the library of the extra `modem`."""

    def __init__(self, library: Any, *, device: str, connection: str, model: str = "") -> None:
        """Raises ModemFault when the modem does not answer."""
        self._library = library
        self._machine = library.StateMachine()
        self._machine.SetConfig(0, {"Device": device, "Connection": connection, "Model": model})
        self._do(self._machine.Init)

    def send(self, number: str, text: str, *, unicode: bool, udh: bytes) -> int:
        """See Modem.send. Asks the network for a status report (TS 23.040 9.2.3.5)."""
        told: dict[str, Any] = {
            "Text": text, "Number": number, "SMSC": {"Location": 1}, "Type": "Status_Report",
            "Coding": "Unicode_No_Compression" if unicode else "Default_No_Compression",
        }  # fmt: skip
        if udh:
            told["UDH"] = {"Type": "UserUDH", "Text": udh}
        return int(self._do(lambda: self._machine.SendSMS(told)) or 0)

    def close(self) -> None:
        """See Modem.close."""
        with suppress(self._library.GSMError):
            self._machine.Terminate()

    def _do(self, step: Callable[[], Any]) -> Any:
        try:
            return step()
        except self._library.GSMError as error:
            told = error.args[0] if error.args and isinstance(error.args[0], dict) else {}
            raise ModemFault(f"modem-{told.get('Code', 'fault')}", str(told.get("Text", "The modem failed."))) from None


def gammu_modem(device: str, connection: str) -> Callable[[], Modem]:
    """Opens the modem when it is needed. Raises Misconfigured at once when the extra is not installed."""
    try:
        library = importlib.import_module(LIBRARY)
    except ImportError:
        raise Misconfigured("The library for modems is not installed", EXTRA, field="sms.transport") from None
    return lambda: GammuModem(library, device=device, connection=connection)
