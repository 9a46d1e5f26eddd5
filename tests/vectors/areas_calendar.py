"""Adapters for what calendars send back: read out of whole letters, proved or not, and judged; and two readers more."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from icalendar import Calendar

from notify.config.kinds import MAILBOX
from notify.core.itip import Answer, Bearer, Decision, Partstat, Standing, address_of
from notify.core.reply_limits import may_send_invite_again
from notify.inbox.calendar_part import read_answer
from notify.inbox.content_lines import outline
from notify.inbox.letter import read_letter
from notify.inbox.take import organizer_tokens
from notify.render.invite import invite_bytes, next_sequence, proposal_declined
from tests.parts import answers as a
from tests.parts.ical_js import by_ical_js
from tests.parts.invites import an_invite

Given = dict[str, Any]
REPLIES = Path(__file__).parent / "replies"
_ORGANIZERS_OWN = ("CANCEL", "REQUEST", "ADD", "PUBLISH", "DECLINECOUNTER")
_SENDS_MAIL = {Decision.RESEND_CURRENT_REQUEST}
_ASKS_STAFF = {each for each in Decision if each.startswith(("flag_", "route_", "record_"))}


def itip(given: Given, expect: Given) -> None:
    """One answer to one pickup, through the bytes of a letter; every line of the expectation is looked at."""
    before = _standing(given["state"])
    for method in _ORGANIZERS_OWN if given["incoming"]["method"] == "CANCEL" else (given["incoming"]["method"],):
        incoming = given["incoming"] | {"method": method}
        answer, verdict = a.judged(before, _letter(incoming))
        later = before
        if isinstance(answer, Answer):
            later = a.after(before, [(answer, _bearer(incoming))])
        for key, wanted in expect.items():
            _Judged(before, later, verdict.decision).check(key, wanted)


def _standing(state: Given) -> Standing:
    said = state["last_reply_dtstamp"]
    return Standing(
        uid=state["uid"], organizer=address_of(state["organizer"]), attendee=address_of(state["attendee"]),
        sequence=state["sequence"], is_live=state["status"] == "CONFIRMED",
        partstat=Partstat(state["attendee_partstat"].lower().replace("-", "_")),
        reply_sequence=state["last_reply_sequence"], reply_stamp=a.moment(said) if said else None,
    )  # fmt: skip


def _letter(incoming: Given) -> bytes:
    who = incoming["attendee"].removeprefix("mailto:")
    given_to = incoming.get("delegated_to")
    params = f';DELEGATED-TO="{given_to}"' if given_to else ""
    lines = [f"DTSTART:{incoming['dtstart']}"] if "dtstart" in incoming else []
    calendar = a.calendar_object(
        *lines, method=incoming["method"], uid=incoming["uid"], sequence=incoming["sequence"],
        organizer=(incoming["organizer"] or "").removeprefix("mailto:"), stamp=incoming["dtstamp"],
        attendee=a.attendee_line(who, incoming["partstat"] or "", params),
    )  # fmt: skip
    sender = incoming["mail_from_header"]
    results = f"{a.SERVER}; {incoming['authentication_results']}"
    if "pass" in results:
        results += f" header.from={sender.rpartition('@')[2]}"
    return a.carrying(calendar, method=incoming["method"], sender=sender, results=results)


def _bearer(incoming: Given) -> Bearer:
    letter = read_letter(_letter(incoming))
    return Bearer(letter.sender, True, letter.proved_for(letter.sender, authserv_id=a.SERVER), a.ARRIVED)


class _Judged:
    """What was decided, set beside what was kept before and after."""

    def __init__(self, before: Standing, later: Standing, decision: Decision) -> None:
        self.before, self.later, self.decision = before, later, decision

    def check(self, key: str, wanted: Any) -> None:
        """Assert one line of an expectation; one that is not understood fails."""
        if key == "decision":
            assert self.decision == wanted, f"{self.decision}, not {wanted}"
        elif key == "decision_one_of":
            assert self.decision in wanted, f"{self.decision}"
        elif key == "partstat":
            assert self.later.partstat.upper().replace("_", "-") == wanted
        elif key == "store":
            assert self.later.reply_sequence == wanted["last_reply_sequence"]
            assert self.later.reply_stamp == a.moment(wanted["last_reply_dtstamp"])
        elif key in ("our_sequence_after", "sequence"):
            assert self.later.sequence == wanted
        elif key == "status_after":
            assert self.later.is_live == (wanted == "CONFIRMED")
        elif key == "send_to":
            assert self.decision in _SENDS_MAIL and self.before.attendee == address_of(wanted)
        elif key == "rate_limited":
            assert may_send_invite_again(0) and not may_send_invite_again(1000)
        elif key in ("if_shop_accepts", "if_shop_declines"):
            _shop_answers(self.before.sequence, wanted)
        elif key in ("side_effects", "mail_sent"):
            assert wanted == 0 and self.later == self.before and self.decision not in _SENDS_MAIL
        elif key == "attendee_list_unchanged":
            assert wanted and self.later == self.before
        else:  # nothing is told to the sender, and nobody is given a right: a person decides
            assert key in ("reply_mail_discloses_details", "collector_authorised") and wanted is False
            assert self.later == self.before and self.decision in _ASKS_STAFF


def _shop_answers(sequence: int, wanted: Given) -> None:
    """RFC 5546 3.2.7, 3.2.8: a new time raises SEQUENCE, a no echoes it."""
    if wanted["send"] == "REQUEST":
        assert next_sequence(sequence, changed=["DTSTART"]) == wanted["sequence"]
        return
    declined = proposal_declined(an_invite(sequence=sequence), dtstamp=datetime(2026, 12, 1, tzinfo=UTC))
    said = outline(invite_bytes(declined))
    assert said.methods == [wanted["send"]] and said.one("SEQUENCE").value == str(wanted["sequence"])
    assert len(said.all("ATTENDEE")) == 1


def shape(given: Given, expect: Given) -> None:
    """The shapes of calendars that are in use, whole letters, against the pickup they answer."""
    raw, before, by_token = _shaped(given), a.standing(sequence=2 if _exchange(given) else 0), True
    if "design" in expect:  # the plus part was lost: no token in the address, so the UID has to do
        assert MAILBOX.read("pickup-{token}@shop.example") and _refuses_plus()
        assert organizer_tokens("pickup-{token}@shop.example", read_letter(raw)) == ()
        by_token = False
    answer, verdict = a.judged(before, raw, by_token=by_token)
    assert isinstance(answer, Answer)
    if "decision" in expect:
        assert verdict.decision == expect["decision"], verdict.decision
    else:
        assert verdict.decision == "apply" and expect["matched_by"] == "UID + ATTENDEE"
    assert verdict.decision in (*a.COUNTED, *_ASKS_STAFF), "lost"
    _really_there(read_letter(raw).calendars[0][0].replace(b"\r\n ", b""), expect)
    assert (answer.start is None) == (answer.method == "REPLY"), "a reply's own times are used"
    if expect["decision" if "decision" in expect else "lost"] == "record_proposal":
        assert answer.start == a.moment("20261105T093000Z")


def _really_there(calendar: bytes, expect: Given) -> None:
    """What is to be ignored or understood must stand in the letter, or the case would say nothing."""
    if "extra_params_ignored" in expect:
        assert all(f";{name}=".encode() in calendar for name in expect["extra_params_ignored"])
    if expect.get("summary_change_ignored"):
        assert b"SUMMARY;LANGUAGE=en-GB:Accepted: " in calendar
    if expect.get("status_ignored") or expect.get("windows_tzid_understood_or_unused"):
        assert b"STATUS:CONFIRMED" in calendar and b";TZID=W. Europe Standard Time:" in calendar
    if expect.get("MAILTO_upper_case_ok"):
        assert b":MAILTO:" in calendar and b"mailto:" not in calendar


def _exchange(given: Given) -> bool:
    return "no ORGANIZER" in given.get("props", ())


def _refuses_plus() -> bool:
    try:
        MAILBOX.read("pickup+{token}@shop.example")
    except ValueError:
        return True
    return False


def _shaped(given: Given) -> bytes:
    if "Google" in given.get("PRODID", ""):
        return _with_results("gmail-like-accept.eml")
    if given.get("METHOD") == "COUNTER":
        return _with_results("counter-proposal.eml")
    if _exchange(given):
        zone = ("BEGIN:VTIMEZONE", "TZID:W. Europe Standard Time", "BEGIN:STANDARD", "DTSTART:16010101T030000",
                "TZOFFSETFROM:+0200", "TZOFFSETTO:+0100", "END:STANDARD", "END:VTIMEZONE")  # fmt: skip
        made = a.calendar_object(
            "SUMMARY;LANGUAGE=en-GB:Accepted: Pickup", "DTSTART;TZID=W. Europe Standard Time:20261103T110000",
            "STATUS:CONFIRMED", organizer="", sequence=2, attendee=a.attendee_line(params=";CN=Pat"),
        )  # fmt: skip
        made = made.replace(b"BEGIN:VEVENT", "\r\n".join([*zone, "BEGIN:VEVENT"]).encode())
        return a.carrying(made)
    if "From" in given:
        results = f"{a.SERVER}; dmarc=pass header.from=icloud.example"
        return a.carrying(a.calendar_object(), sender=given["From"], results=results)
    if "sent_ORGANIZER" in given:
        return a.carrying(a.calendar_object(), to="pickup@shop.example")
    assert "SUMMARY:Accepted: ..." in given["props"], "a shape that is not built"
    made = a.calendar_object("SUMMARY:Accepted: Pickup", "X-MICROSOFT-CDO-IMPORTANCE:1")
    return a.carrying(made.replace(b"mailto:", b"MAILTO:"))


def _with_results(name: str) -> bytes:
    """What our border server writes on top of it."""
    return f"Authentication-Results: {a.PROVED}\r\n".encode() + (REPLIES / name).read_bytes()


def read_fold(given: Given, expect: Given) -> None:
    """Lines unfolded; texts are looked at as the comment that the product keeps."""
    if "RSVP" in expect:
        [held] = outline(a.calendar_object(attendee=given["wire"].removesuffix("\r\n"))).all("ATTENDEE")
        assert (held.param("RSVP"), held.param("PARTSTAT"), held.value) == (
            expect["RSVP"], expect["PARTSTAT"], expect["value"]
        )  # fmt: skip
        return
    name, _, _ = given["wire"].partition(":")
    wanted = expect.get("value") or expect["unfolded"].removeprefix(f"{name}:")
    assert _comment(given["wire"].replace(name, "COMMENT", 1)) == wanted


def read_escape(given: Given, expect: Given) -> None:
    """A TEXT value as it stands on the wire, read as the words of a comment."""
    assert _comment(f"COMMENT:{given['wire_value']}") == expect["text"]


def _comment(wire: str) -> str:
    answer = read_answer(a.calendar_object(wire.removesuffix("\r\n")), method="REPLY")
    assert isinstance(answer, Answer), answer
    return answer.comment


def read_param(given: Given, expect: Given) -> None:
    """Who it is, and what their calendar says."""
    if "stored" in given:
        before = a.standing(attendee=address_of(given["stored"]))
        raw = a.carrying(a.calendar_object(attendee=f"ATTENDEE;PARTSTAT=ACCEPTED:{given['incoming']}"))
        assert (a.judged(before, raw)[1].decision == "apply") == expect["same_attendee"]
        return
    answer, verdict = a.judged(a.standing(), a.carrying(a.calendar_object(attendee=given["wire"])))
    assert isinstance(answer, Answer)
    said = answer.partstat.upper().replace("_", "-")
    assert said == (expect.get("PARTSTAT") or expect["effective_partstat"])
    assert verdict.decision == expect.get("decision", "apply")


def cross_check(given: Given, expect: Given) -> None:
    """icalendar and ical.js see the published tree (RFC 7265), and the same tree in an invite of ours."""
    wire = given["ics"].encode()
    assert _sorted(Calendar.from_ical(wire).to_jcal()) == _sorted(by_ical_js(wire)["jcal"]) == _sorted(expect["jcal"])
    ours = invite_bytes(an_invite())
    assert _sorted(Calendar.from_ical(ours).to_jcal()) == _sorted(by_ical_js(ours)["jcal"])


def _sorted(tree: Any) -> Any:
    name, properties, parts = tree
    return [name, sorted(properties, key=repr), [_sorted(part) for part in parts]]


AREAS = {"itip": itip, "shape": shape, "cross-check": cross_check}
