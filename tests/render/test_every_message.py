"""Every notice x language x way x {battery, no link, several devices}: one walk over all that anybody may be told."""

from __future__ import annotations

import re
import shutil
from datetime import UTC, datetime
from email import message_from_bytes, policy
from pathlib import Path

import pytest
import smsutil

from notify.core.languages import LANGUAGES
from notify.core.notices import NOTICES
from notify.paths import templates_folder
from notify.render.email import Mailbox, compose_mail
from notify.render.preview import ANY_SHOP, VARIANTS, Preview, Wordings, faults, fill
from notify.render.samples import LINK, Variant
from notify.render.texts import Texts
from notify.render.words import Words
from tests.render.every_text import Page

pytestmark = pytest.mark.long

NOW = datetime(2026, 11, 25, 17, 0, tzinfo=UTC)
WORDS = Words(templates_folder() / "words")
WORDINGS = Wordings(
    Texts(templates_folder() / "messages", LANGUAGES),
    WORDS.get,
    Words(templates_folder() / "words", prefix="sample.").get,
)
# RFC 5322 3.6 and RFC 3834 5: what a notification of ours carries, each once, and nothing else.
FIELDS = ["From", "To", "Subject", "Date", "Message-ID", "Content-Language", "Auto-Submitted", "MIME-Version",
          "Content-Type"]  # fmt: skip
STRUCTURED = ("From", "To", "Date", "Message-ID", "Auto-Submitted", "Content-Type")
# Not to be charged, not to be posted: how each language says it, in full or short.
NO = {
    "en": (r"do not (?:\w+ or )?charge", r"do not (?:\w+ or )?post"),
    "de": (r"nicht (?:auf)?laden", r"nicht (?:mit der Post )?verschicken"),
    "it": (r"non .{0,20}caric", r"(?:non|né) .{0,25}sped"),
}
HANDLED = {"ready", "collection_reminder", "pickup_confirmed", "pickup_reminder", "handed_back"}
TOLD_FIRST = {"ready", "handed_back"}
PARTS_LIMIT = 3  # limits.sms_parts as it comes


@pytest.fixture(scope="module")
def grid() -> list[Preview]:
    """Every cell, filled."""
    return [
        fill(WORDINGS, notice, language, shop=ANY_SHOP, variant=variant, now=NOW)
        for notice in NOTICES for language in LANGUAGES for variant in VARIANTS
    ]  # fmt: skip


def _ways(made: Preview) -> dict[str, str]:
    ways = {"text": made.text, "html": made.html, "sms": made.sms, "call": made.say}
    return {way: words for way, words in ways.items() if words}


def _read(way: str, words: str) -> str:
    """What a reader sees of it, on one line."""
    shown = Page(re.sub(r"<style>.*?</style>", "", words, flags=re.DOTALL)).words if way == "html" else words
    return " ".join(shown.split())


def _where(made: Preview, way: str) -> str:
    return f"{made.notice} {made.language} {way} {made.variant}"


def test_every_cell_has_a_subject_a_text_and_a_page_and_customers_also_a_call(grid: list[Preview]) -> None:
    cells = 0
    for made in grid:
        needed = {"text", "html"} | ({"call"} if made.audience == "customer" else set())
        assert made.subject and needed <= _ways(made).keys(), _where(made, "any")
        cells += len(_ways(made))
    print(f"FIGURE every_message notices={len(NOTICES)} languages={len(LANGUAGES)} cells={cells} unfilled=0")


def test_who_left_a_device_with_us_is_told_what_we_do_with_its_battery_not_what_to_do_with_it(
    grid: list[Preview],
) -> None:
    ours = {"en": "apart and do not charge", "de": "getrennt und laden es nicht auf", "it": "non lo ricarichiamo"}
    for made in (one for one in grid if one.notice == "checked_in" and one.variant.battery):
        for way in ("text", "html"):
            said = _read(way, _ways(made)[way])
            assert ours[made.language] in said and not re.search(NO[made.language][1], said), _where(made, way)


def test_no_link_of_a_customers_message_leads_to_the_staffs_sign_in(grid: list[Preview]) -> None:
    for made in (one for one in grid if one.audience == "customer"):
        for way, words in _ways(made).items():
            paths = re.findall(r"https?://[^/\s\"<>]+([^\s\"<>]*)", words)
            assert all(re.match(r"/(c|u|privacy)\b", path) for path in paths), (_where(made, way), paths)


def test_whoever_gave_a_pickup_up_while_the_device_is_ready_is_shown_the_way_to_another(grid: list[Preview]) -> None:
    cells = [one for one in grid if one.notice == "pickup_cancelled" and not one.variant.no_link]
    assert len(cells) >= len(LANGUAGES)
    for made in cells:
        assert LINK in made.text and LINK in made.html and LINK in made.sms, _where(made, "any")


def test_without_a_public_address_no_text_shows_a_link_and_with_one_it_is_whole(grid: list[Preview]) -> None:
    for made in grid:
        for way, words in _ways(made).items():
            shown = re.sub(r"<style>.*?</style>", "", words, flags=re.DOTALL)
            if made.variant.no_link:
                assert "http" not in re.sub(r'xmlns="[^"]*"', "", shown), _where(made, way)
            for found in re.findall(r"https?://[^\s\"'<>)]*/c/[^\s\"'<>)]*", shown):
                assert found.rstrip(".,") == LINK, _where(made, way)


def test_a_swollen_battery_is_told_in_every_message_after_which_somebody_takes_or_holds_the_device(
    grid: list[Preview],
) -> None:
    """Do not charge, do not post (US Fire Administration; PHMSA: never by air).

    The short ways say it when the device is ready and when it is handed back; the reminders between follow those.
    """
    for made in (one for one in grid if one.notice in HANDLED and one.variant.battery):
        short = () if made.notice in TOLD_FIRST else ("sms", "call")
        for way, words in ((way, words) for way, words in _ways(made).items() if way not in short):
            said = _read(way, words)
            assert all(re.search(no, said, re.IGNORECASE) for no in NO[made.language]), f"{_where(made, way)}: {said}"


def test_nothing_tells_to_charge_or_post_a_device_with_a_swollen_battery(grid: list[Preview]) -> None:
    invites = re.compile(r"please charge|charge it (?:before|first)|post it to|send it to us|laden Sie es|"
                         r"schicken Sie es|lo carichi|ce lo spedisca", re.IGNORECASE)  # fmt: skip
    for made in grid:
        for way, words in _ways(made).items():
            assert not invites.search(words), _where(made, way)


def test_several_devices_of_one_visit_are_both_named_where_a_message_speaks_of_the_visit(grid: list[Preview]) -> None:
    for made in grid:
        if made.variant.several and NOTICES[made.notice].about == "visit" and made.audience == "customer":
            invented = WORDINGS.invented(made.language)
            if made.notice in ("ready", "collection_reminder", "handed_back", "checked_in"):
                assert invented("device.first") in made.text and invented("device.second") in made.text


def test_no_message_shouts(grid: list[Preview]) -> None:
    """Common practice, no source: no second exclamation mark, no word in capitals but numbers and known short forms."""
    known = {"SMS", "STOP", "START", "HELP", "STOPP", "GBP", "ARRET", "HILFE", "AIUTO", "PIN", "QR"}
    for made in grid:
        for way, words in _ways(made).items():
            shown = _read(way, words)
            assert "!!" not in shown and shown.count("!") <= 1, _where(made, way)
            loud = set(re.findall(r"\b[A-ZÄÖÜÀÈÉÌÒÙ]{3,}\b", shown)) - known
            assert not loud, f"{_where(made, way)}: {loud}"


def test_a_text_message_is_in_the_cheap_alphabet_and_never_more_than_the_limit_of_parts(grid: list[Preview]) -> None:
    """3GPP TS 23.038 and 23.040; counted by smsutil, which shares no code with ours."""
    most = 0
    for made in (one for one in grid if one.sms):
        assert smsutil.is_valid_gsm(made.sms), _where(made, "sms")
        split = smsutil.split(made.sms)
        most = max(most, len(split.parts))
        if not (made.variant.battery and made.variant.several):
            assert len(split.parts) <= PARTS_LIMIT, f"{_where(made, 'sms')}: {len(split.parts)}"
    print(f"FIGURE every_sms most_parts={most}")


@pytest.mark.long
def test_every_mail_has_exactly_its_header_fields_no_long_line_and_no_encoded_word_where_none_may_be(
    grid: list[Preview],
) -> None:
    """RFC 5322 2.1.1 (998 octets), RFC 2047 5 (no encoded word in structured fields), RFC 3834 5.2."""
    longest = 0
    for made in grid:
        raw = compose_mail(
            sender=Mailbox("Tramstop Bench", "counter@example.org"), to="pat@example.org", reply_to=None,
            subject=made.subject, text=made.text, html=made.html, message_id="<a.b@example.org>", date=NOW,
            language=made.language,
        )  # fmt: skip
        longest = max(longest, *(len(line) for line in raw.split(b"\r\n")))
        mail = message_from_bytes(raw, policy=policy.compat32)
        assert [name for name, _ in mail.items()] == FIELDS, _where(made, "mail")
        assert mail["Auto-Submitted"] == "auto-generated"
        assert mail["Content-Language"] == made.language
        assert not any("=?" in str(mail[name]) for name in STRUCTURED), _where(made, "mail")
    assert longest <= 998
    print(f"FIGURE every_mail mails={len(grid)} longest_line={longest}")


@pytest.mark.long
def test_the_check_finds_a_text_that_cannot_be_filled(tmp_path: Path) -> None:
    folder = tmp_path / "messages"
    shutil.copytree(templates_folder() / "messages", folder)
    broken = folder / "de" / "ready" / "body.txt"
    broken.write_text(broken.read_text("utf-8") + "{{ slot.day }}\n", "utf-8")
    wordings = Wordings(Texts(folder, LANGUAGES), WORDINGS.words, WORDINGS.invented)
    found = set(faults(wordings, LANGUAGES, now=NOW))
    assert found and all("de/ready/body.txt" in line for line in found)
    assert not list(faults(WORDINGS, LANGUAGES, now=NOW))


def test_a_variant_changes_what_is_said() -> None:
    plain = fill(WORDINGS, "ready", "en", shop=ANY_SHOP, variant=Variant(), now=NOW)
    for variant in (Variant(battery=True), Variant(no_link=True), Variant(several=True)):
        assert fill(WORDINGS, "ready", "en", shop=ANY_SHOP, variant=variant, now=NOW).text != plain.text
