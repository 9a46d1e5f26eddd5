"""The modem through the library of the extra `modem`, which is imported only where a modem is set up."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

from notify.channels.sms_modem import Modem, ModemFault, Stored
from notify.core.errors import Misconfigured

LIBRARY = "gammu"
EXTRA = "Install Shelfbell with its extra: pip install 'shelfbell[modem]'."


class GammuModem:
    """One modem at one port."""

    def __init__(self, library: Any, *, device: str, connection: str, model: str = "") -> None:
        """Raises ModemFault when the modem does not answer."""
        self._library = library
        self._machine = library.StateMachine()
        self._machine.SetConfig(0, {"Device": device, "Connection": connection, "Model": model})
        self._do(self._machine.Init)

    def send(self, number: str, text: str, *, unicode: bool, udh: bytes) -> int:
        """See Modem.send."""
        told: dict[str, Any] = {
            "Text": text, "Number": number, "SMSC": {"Location": 1},
            "Coding": "Unicode_No_Compression" if unicode else "Default_No_Compression",
        }  # fmt: skip
        if udh:
            told["UDH"] = {"Type": "UserUDH", "Text": udh}
        return int(self._do(lambda: self._machine.SendSMS(told)) or 0)

    def read(self) -> Sequence[Stored]:
        """See Modem.read. Reports of the network, which nobody asked for, are dropped."""
        found: list[Stored] = []
        last: int | None = None
        while True:
            where = {"Start": True} if last is None else {"Location": last}
            try:
                told = self._machine.GetNextSMS(Folder=0, **where)[0]
            except self._library.ERR_EMPTY:
                return found
            except self._library.GSMError as error:
                raise _fault(error) from None
            last = told["Location"]
            if told["Type"] == "Deliver" and told["InboxFolder"]:
                found.append(_stored(told))

    def drop(self, place: int) -> None:
        """See Modem.drop."""
        self._do(lambda: self._machine.DeleteSMS(0, place))

    def close(self) -> None:
        """See Modem.close."""
        with suppress(self._library.GSMError):
            self._machine.Terminate()

    def _do(self, step: Callable[[], Any]) -> Any:
        try:
            return step()
        except self._library.GSMError as error:
            raise _fault(error) from None


def _fault(error: Exception) -> ModemFault:
    told = error.args[0] if error.args and isinstance(error.args[0], dict) else {}
    return ModemFault(f"modem-{told.get('Code', 'fault')}", str(told.get("Text", "The modem failed.")))


def _stored(told: Any) -> Stored:
    """The library's table of one part as ours; a time without a zone is the modem's own clock, taken as UTC.

    Octets instead of text (TS 23.038 4: 8-bit data, such as notices of pictures) have no words; no time is 1970.
    """
    head, at = told["UDH"], told["DateTime"] or datetime.fromtimestamp(0, UTC)
    text = told["Text"].rstrip("\0") if isinstance(told["Text"], str) else ""
    mark, many = max(head["ID8bit"], head["ID16bit"]), max(head["AllParts"], 1)
    aware = at if at.tzinfo else at.replace(tzinfo=UTC)
    return Stored(told["Location"], told["Number"], text, aware.astimezone(UTC), mark, max(head["PartNumber"], 1), many)


def gammu_modem(device: str, connection: str) -> Callable[[], Modem]:
    """Opens the modem when it is needed. Raises Misconfigured at once when the extra is not installed."""
    try:
        library = importlib.import_module(LIBRARY)
    except ImportError:
        raise Misconfigured("The library for modems is not installed", EXTRA, field="sms.transport") from None
    return lambda: GammuModem(library, device=device, connection=connection)
