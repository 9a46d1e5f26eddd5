"""The folder channel: durable, once per Message-ID, and readable by any program that knows Maildir."""

from __future__ import annotations

import mailbox
import os
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from notify.channels.base import Verdict
from notify.channels.folder import FolderChannel
from tests.channels.conftest import outgoing


def test_the_standard_librarys_maildir_reads_what_was_written(tmp_path: Path) -> None:
    FolderChannel(tmp_path / "mail").send(outgoing())
    box = mailbox.Maildir(tmp_path / "mail", create=False)
    assert [message["Message-ID"] for message in box] == ["<m1@example.org>"]
    assert [message.get_subdir() for message in box] == ["new"]


def test_the_same_message_twice_makes_one_file_even_after_it_was_read(tmp_path: Path) -> None:
    channel, new, cur = FolderChannel(tmp_path), tmp_path / "new", tmp_path / "cur"
    assert channel.send(outgoing()).code == "kept"
    assert channel.send(outgoing()).code == "already-there"
    (read,) = new.iterdir()
    read.rename(cur / f"{read.name}:2,S")
    assert channel.send(outgoing()).verdict is Verdict.ACCEPTED
    assert (list(new.iterdir()), len(list(cur.iterdir()))) == ([], 1)


def test_what_a_crashed_try_left_behind_is_cleared_by_the_next(tmp_path: Path) -> None:
    channel = FolderChannel(tmp_path)
    channel.send(outgoing())
    (kept,) = (tmp_path / "new").iterdir()
    (tmp_path / "tmp" / f"{kept.name}.half").write_bytes(kept.read_bytes()[:20])
    (tmp_path / "tmp" / "somebody-elses").write_bytes(b"x")
    channel.send(outgoing())
    assert [path.name for path in (tmp_path / "tmp").iterdir()] == ["somebody-elses"]


def test_many_writers_of_one_message_leave_one_whole_file(tmp_path: Path) -> None:
    message = outgoing(payload=b"Subject: a\r\n\r\n" + b"0123456789\r\n" * 2000)
    with ThreadPoolExecutor(8) as pool:
        receipts = list(pool.map(lambda _: FolderChannel(tmp_path).send(message), range(64)))
    assert {receipt.verdict for receipt in receipts} == {Verdict.ACCEPTED}
    assert [path.read_bytes() for path in (tmp_path / "new").iterdir()] == [message.payload]
    assert list((tmp_path / "tmp").iterdir()) == []


def test_only_the_owner_can_read_the_messages(tmp_path: Path) -> None:
    FolderChannel(tmp_path / "mail").send(outgoing())
    (kept,) = (tmp_path / "mail" / "new").iterdir()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "mail" / "new").stat().st_mode) == 0o700


@pytest.mark.parametrize("obstacle", ["a file in its place", "a file for new"])
def test_a_folder_that_cannot_be_used_means_later_and_names_no_path(tmp_path: Path, obstacle: str) -> None:
    path = tmp_path / "mail"
    if obstacle == "a file in its place":
        path.write_bytes(b"")
    else:
        path.mkdir()
        (path / "new").write_bytes(b"")
    receipt = FolderChannel(path).send(outgoing())
    assert (receipt.verdict, receipt.code.partition("-")[0]) == (Verdict.TRY_LATER, "folder")
    assert str(tmp_path) not in receipt.text


def test_file_and_folder_are_synced_before_the_message_counts_as_kept(tmp_path: Path) -> None:
    """Seen from outside through an audit of the system calls that Python announces: rename comes last but one."""
    FolderChannel(tmp_path).send(outgoing())
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full here: only the answer to a full disk is not tried")
    (tmp_path / "tmp").rmdir()
    os.symlink("/proc", tmp_path / "tmp")  # a place where no file can be made
    assert FolderChannel(tmp_path).send(outgoing(2)).verdict is Verdict.TRY_LATER
    assert len(list((tmp_path / "new").iterdir())) == 1
