"""A GSM modem: parts, their order and headers, faults between them, and the real library on its dummy phone."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from notify.channels.base import Verdict
from notify.channels.gammu_modem import GammuModem, gammu_modem
from notify.channels.sms_modem import ModemFault, SmsModem, Stored, concatenation, joined
from notify.core.errors import Misconfigured
from notify.render.sms import split
from tests.channels.test_sms_http import NUMBER, text_message
from tests.parts.modem import Part, ScriptedModem

LONG = "Your radio is ready. " * 12  # 252 characters, two parts
AT = datetime(2026, 11, 25, 12, tzinfo=UTC)
FOREIGN = "Ваш приёмник готов 📻 " * 8


def test_a_short_text_is_one_part_without_a_header() -> None:
    modem = ScriptedModem()
    receipt = modem.channel().send(text_message("Ready: 5 € [now]"))
    assert receipt.verdict is Verdict.ACCEPTED
    (part,) = modem.parts
    assert (part.number, part.text, part.unicode, part.udh) == (NUMBER, "Ready: 5 € [now]", False, b"")


@pytest.mark.parametrize(("text", "unicode"), [(LONG, False), (FOREIGN, True)])
def test_a_long_text_leaves_in_parts_that_a_phone_can_join(text: str, unicode: bool) -> None:
    modem = ScriptedModem()
    assert modem.channel().send(text_message(text)).verdict is Verdict.ACCEPTED
    whole = [part.text for part in modem.parts]
    assert tuple(whole) == split(text.removesuffix("\n"))
    # TS 23.040 9.2.3.24 and 9.2.3.24.1: length 5, element 0, its length 3, reference, how many, which.
    heads = [part.udh for part in modem.parts]
    assert {(len(h), h[:3], h[4]) for h in heads} == {(6, b"\5\0\3", len(heads))}
    assert [h[5] for h in heads] == list(range(1, len(heads) + 1))
    assert len({h[3] for h in heads}) == 1
    assert {part.unicode for part in modem.parts} == {unicode}
    again = ScriptedModem()
    again.channel().send(text_message(text))
    assert again.parts == modem.parts  # the same reference: a repeated try joins with what came before


def test_a_fault_before_the_first_part_is_tried_again_and_after_it_nobody_knows() -> None:
    busy = ModemFault("modem-14", "No answer.")
    gone = ModemFault("modem-69", "No such number +447700900123.", lasting=True)
    first = ScriptedModem(refuses=lambda number: busy if number == 0 else None)
    channel = first.channel()
    receipt = channel.send(text_message(LONG))
    assert (receipt.verdict, receipt.code) == (Verdict.TRY_LATER, "modem-14")
    assert channel.send(text_message(LONG)).verdict is Verdict.ACCEPTED
    assert (first.opened, first.closed) == (2, 1)  # a modem that stumbled is opened anew
    receipt = ScriptedModem(refuses=lambda number: gone).channel().send(text_message())
    assert receipt.verdict is Verdict.NEVER and "7700900123" not in receipt.text
    second = ScriptedModem(refuses=lambda number: gone if number == 1 else None)
    assert second.channel().send(text_message(LONG)).verdict is Verdict.UNKNOWN


def test_without_the_library_the_advice_names_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "gammu", None)  # Python's own way to make an import fail
    with pytest.raises(Misconfigured, match=r"shelfbell\[modem\]"):
        gammu_modem("/dev/ttyUSB0", "at")


def test_one_header_holds_numbers_up_to_255() -> None:
    assert concatenation("x", 255, 255)[4:] == b"\xff\xff"
    assert concatenation("x", 1, 1) == b""


HAS_LIBRARY = importlib.util.find_spec("gammu") is not None
needs_library = pytest.mark.skipif(not HAS_LIBRARY, reason="python-gammu has no wheel for this kind of machine")
# What the library's encoder wants to be told beside what our own code tells it.
REST = {
    "Folder": 0, "Memory": "SM", "Location": 0, "Name": "", "DeliveryStatus": 0, "ReplyViaSameSMSC": 0, "Class": -1,
    "MessageReference": 0, "ReplaceMessage": 0, "RejectDuplicates": 0, "State": "UnSent", "InboxFolder": 0,
    "Number": NUMBER, "SMSC": {"Location": 1, "Number": "+447700900001"}, "Type": "Submit",
}  # fmt: skip


def on_the_air(part: Part, text: str | None = None) -> Any:
    """The library's own reading of the octets that it makes of a part (TS 23.040 9.2.2.2, SMS-SUBMIT)."""
    library = importlib.import_module("gammu")
    told = {
        **REST, "Text": part.text if text is None else text,
        "Coding": "Unicode_No_Compression" if part.unicode else "Default_No_Compression",
    }  # fmt: skip
    if part.udh:
        told["UDH"] = {"Type": "UserUDH", "Text": part.udh}
    return library.DecodePDU(library.EncodePDU(told, "Submit"))


@needs_library
@pytest.mark.parametrize("text", [LONG, FOREIGN, "€[" * 100, "a" * 306 + "€", "Ready."])
def test_an_independent_encoder_reads_each_part_as_we_meant_it(text: str) -> None:
    modem = ScriptedModem()
    modem.channel().send(text_message(text))
    read = [on_the_air(part) for part in modem.parts]
    # Its decoder counts septets as characters and so leaves a NUL behind for each escape.
    assert [one["Text"].rstrip("\0") for one in read] == [part.text for part in modem.parts]
    if len(read) > 1:
        heads = [one["UDH"] for one in read]
        assert {(head["Type"], head["AllParts"]) for head in heads} == {("ConcatenatedMessages", len(read))}
        assert [head["PartNumber"] for head in heads] == list(range(1, len(read) + 1))


@needs_library
def test_a_full_part_has_no_room_for_one_more_character() -> None:
    modem = ScriptedModem()
    modem.channel().send(text_message("a" * 200))
    full = modem.parts[0]
    assert len(full.text) == 153 and on_the_air(full)["Text"] == full.text
    with pytest.raises(importlib.import_module("gammu").GSMError):
        on_the_air(full, full.text + "a")


def stored(place: int, text: str, *, part: int = 1, parts: int = 1, mark: int = 7, days: int = 0) -> Stored:
    return Stored(place, NUMBER, text, AT - timedelta(days=days), mark, part, parts)


def test_parts_that_came_in_any_order_make_one_message_and_a_lost_part_holds_nothing_up_for_ever() -> None:
    came = [stored(4, "c", part=3, parts=3), stored(1, "Stop"), stored(2, "a", part=1, parts=3),
            stored(3, "b", part=2, parts=3), stored(5, "b", part=2, parts=3), stored(8, "half", parts=2, mark=9),
            stored(9, "old half", parts=2, mark=3, days=2)]  # fmt: skip
    whole = joined(came, now=AT)
    assert [one.text for one in whole] == ["old half", "abc", "Stop"]
    assert 8 not in [place for one in whole for place in one.places]


def test_a_sign_cut_in_two_between_parts_is_whole_again_and_half_a_sign_is_a_mark() -> None:
    """UTF-16 surrogates (RFC 2781 2.1); no database and no hash takes half of one."""
    came = [
        stored(1, "yes \ud83d", part=1, parts=2),
        stored(2, "\ude00", part=2, parts=2),
        stored(3, "no \ud83d", mark=-1),
    ]
    assert sorted(one.text for one in joined(came, now=AT)) == ["no \ufffd", "yes \U0001f600"]


def test_whoever_sends_only_beginnings_does_not_fill_the_sim_for_a_day() -> None:
    came = [stored(place, f"{place}", parts=255, mark=place) for place in range(40)]
    came.append(stored(99, "honest half", parts=2, mark=99))
    left = {one.place for one in came} - {place for one in joined(came, now=AT) for place in one.places}
    assert len(left) == 10 and joined(came[:10], now=AT) == []


@pytest.mark.real
@needs_library
def test_octets_instead_of_text_and_a_part_without_a_sender_keep_nobody_away(tmp_path: Path) -> None:
    """TS 23.038 4: 8-bit data has no words; one such message stopped all reading."""
    library = importlib.import_module("gammu")
    phone = tmp_path / "phone"
    phone.mkdir()
    modem = GammuModem(library, device=str(phone), connection="none", model="dummy")
    writer = library.StateMachine()
    writer.SetConfig(0, {"Device": str(phone), "Connection": "none", "Model": "dummy"})
    writer.Init()
    usual = {"SMSC": {"Location": 1}, "Folder": 1, "Type": "Deliver", "State": "UnRead",
             "DateTime": datetime(2026, 11, 25, 10)}  # fmt: skip
    writer.AddSMS(usual | {"Number": NUMBER, "Coding": "8bit", "Text": b"\1\2\xff\0abc"})
    writer.AddSMS(usual | {"Number": "", "Coding": "Default_No_Compression", "Text": "who?"})
    writer.AddSMS(usual | {"Number": NUMBER, "Coding": "Default_No_Compression", "Text": "Stop"})
    whole = SmsModem(lambda: modem, split=split, is_plain=lambda text: True).arrived(now=AT)
    assert [(one.number, one.text) for one in whole] == [(NUMBER, ""), ("", "who?"), (NUMBER, "Stop")]
    modem.close()


@pytest.mark.real
@needs_library
def test_the_real_library_gives_what_people_wrote_and_forgets_what_was_taken(tmp_path: Path) -> None:
    library = importlib.import_module("gammu")
    phone = tmp_path / "phone"
    phone.mkdir()
    modem = GammuModem(library, device=str(phone), connection="none", model="dummy")
    writer = library.StateMachine()  # puts texts into the dummy phone's inbox as a network would
    writer.SetConfig(0, {"Device": str(phone), "Connection": "none", "Model": "dummy"})
    writer.Init()
    for text, head, kind in (("Stop", b"", "Deliver"), ("a" * 153, b"\5\0\3\x2a\2\1", "Deliver"),
                             ("€ Привет", b"\5\0\3\x2a\2\2", "Deliver"), ("", b"", "Status_Report")):  # fmt: skip
        told = {"Text": text, "Number": NUMBER, "SMSC": {"Location": 1}, "Folder": 1, "Type": kind, "State": "UnRead",
                "Coding": "Unicode_No_Compression" if "П" in text else "Default_No_Compression",
                "DateTime": datetime(2026, 11, 25, 10)}  # fmt: skip
        writer.AddSMS(told | ({"UDH": {"Type": "UserUDH", "Text": head}} if head else {}))
    channel = SmsModem(lambda: modem, split=split, is_plain=lambda text: True)
    whole = channel.arrived(now=AT)
    assert [(one.number, one.text) for one in whole] == [(NUMBER, "Stop"), (NUMBER, "a" * 153 + "€ Привет")]
    for one in whole:
        channel.done(one)
    assert channel.arrived(now=AT) == []
    channel.close()


@pytest.mark.real
@needs_library
def test_the_real_library_takes_every_part_on_its_dummy_phone(tmp_path: Path) -> None:
    library = importlib.import_module("gammu")
    phone = tmp_path / "phone"
    phone.mkdir()
    modem = GammuModem(library, device=str(phone), connection="none", model="dummy")
    scripted = ScriptedModem()
    scripted.channel().send(text_message(FOREIGN))
    references = [modem.send(one.number, one.text, unicode=one.unicode, udh=one.udh) for one in scripted.parts]
    modem.close()
    assert len(references) == len(scripted.parts) > 1
    with pytest.raises(ModemFault):
        GammuModem(library, device=str(tmp_path / "nothing"), connection="at", model="at")
