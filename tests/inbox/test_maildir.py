"""A Maildir: only whole, plain files are letters; a handled one is marked, moved, and goes when it is old."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from notify.core.errors import Misconfigured, NotFound, NotifyError
from notify.inbox.fields import LARGEST_HEADER
from notify.inbox.letter import LARGEST, read_letter
from notify.inbox.mailbox import MOST_LETTERS
from notify.inbox.maildir import MaildirMailbox
from tests.parts.letters import letter

NOW = datetime(2026, 11, 27, 12, 0, tzinfo=UTC)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("new", "cur", "tmp"):
        (tmp_path / name).mkdir()
    return tmp_path


def put(folder: Path, name: str, raw: bytes = b"", *, where: str = "new", days_old: int = 0) -> Path:
    file = folder / where / name
    file.write_bytes(raw or letter())
    at = NOW.timestamp() - days_old * 86_400
    os.utime(file, (at, at))
    return file


def shown(folder: Path) -> list[str]:
    return [held.uid for held in MaildirMailbox(folder).letters()]


def test_letters_are_shown_oldest_first_from_new_and_from_cur_until_they_are_handled(folder: Path) -> None:
    put(folder, "1002.b.example.org")
    put(folder, "1001.a.example.org:2,R", where="cur")
    put(folder, "1000.c.example.org:2,RS", where="cur")
    assert shown(folder) == ["1001.a.example.org", "1002.b.example.org"]


def test_a_handled_letter_is_moved_with_its_mark_and_keeps_the_others(folder: Path) -> None:
    put(folder, "1001.a")
    put(folder, "1002.b:2,FR", where="cur")
    box = MaildirMailbox(folder)
    for held in box.letters():
        assert read_letter(held.read(), size=held.size).text == "Yes please."
        box.done(held.uid)
    assert shown(folder) == []
    assert sorted(file.name for file in (folder / "cur").iterdir()) == ["1001.a:2,S", "1002.b:2,FRS"]
    assert not list((folder / "new").iterdir())


def test_a_letter_that_was_read_and_not_handled_comes_again(folder: Path) -> None:
    put(folder, "1001.a")
    [held] = MaildirMailbox(folder).letters()
    held.read()
    assert shown(folder) == ["1001.a"]


def test_a_letter_that_a_mail_program_moves_or_takes_away_meanwhile_is_no_error(folder: Path) -> None:
    moved, gone = put(folder, "1001.a"), put(folder, "1002.b")
    box = MaildirMailbox(folder)
    first, second = box.letters()
    moved.rename(folder / "cur" / "1001.a:2,F")
    gone.unlink()
    assert first.read()
    box.done("1001.a")
    with pytest.raises(NotFound):
        second.read()
    box.done("1002.b")
    box.done("never was here")
    assert [file.name for file in (folder / "cur").iterdir()] == ["1001.a:2,FS"]


def test_what_is_no_plain_whole_file_is_never_opened(folder: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_bytes(letter(body="private"))
    put(folder, "1001.half", where="tmp")
    put(folder, ".1002.hidden")
    (folder / "new" / "1003.link").symlink_to(secret)
    (folder / "new" / "1004.folder").mkdir()
    os.mkfifo(folder / "new" / "1005.pipe")
    put(folder, "1006.good")
    assert shown(folder) == ["1006.good"]


def test_a_link_put_in_a_letters_place_after_it_was_shown_is_not_followed(folder: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret"
    secret.write_bytes(letter(body="private"))
    file = put(folder, "1001.a")
    [held] = MaildirMailbox(folder).letters()
    file.unlink()
    file.symlink_to(secret)
    with pytest.raises(NotifyError) as caught:
        held.read()
    assert "secret" not in str(caught.value) and "1001" not in str(caught.value)


def test_of_a_large_letter_only_the_beginning_is_read(folder: Path) -> None:
    put(folder, "1001.a", letter(body="a" * LARGEST))
    [held] = MaildirMailbox(folder).letters()
    raw = held.read()
    assert held.size > LARGEST and len(raw) == LARGEST_HEADER
    read = read_letter(raw, size=held.size)
    assert (read.refused, read.message_id) == ("too_large", "<one@example.org>")


def test_one_go_has_an_end(folder: Path) -> None:
    for number in range(MOST_LETTERS + 5):
        put(folder, f"{1000 + number}.a")
    box = MaildirMailbox(folder)
    first = [held.uid for held in box.letters()]
    assert len(first) == MOST_LETTERS
    for uid in first:
        box.done(uid)
    assert shown(folder) == [f"{1000 + MOST_LETTERS + number}.a" for number in range(5)]


def test_only_handled_letters_go_when_they_are_old(folder: Path) -> None:
    put(folder, "1001.old:2,S", where="cur", days_old=31)
    put(folder, "1002.young:2,S", where="cur", days_old=29)
    put(folder, "1003.waiting:2,F", where="cur", days_old=31)
    put(folder, "1004.new", days_old=31)
    than = datetime.fromtimestamp(NOW.timestamp() - 30 * 86_400, UTC)
    assert MaildirMailbox(folder).remove_older(than) == 1
    kept = sorted(file.name for place in ("new", "cur") for file in (folder / place).iterdir())
    assert kept == ["1002.young:2,S", "1003.waiting:2,F", "1004.new"]


def test_a_folder_that_is_no_maildir_is_named_by_its_setting_and_not_by_its_path(tmp_path: Path) -> None:
    with pytest.raises(Misconfigured) as caught:
        MaildirMailbox(tmp_path / "nowhere")
    assert caught.value.field == "inbox.maildir" and "nowhere" not in str(caught.value)
