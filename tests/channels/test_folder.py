"""The folder channel: durable, once per Message-ID, and readable by any program that knows Maildir."""

from __future__ import annotations

import mailbox
import re
import shutil
import stat
import subprocess
import sys
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


def test_a_place_where_no_file_can_be_made_means_later_and_keeps_what_is_there(tmp_path: Path) -> None:
    FolderChannel(tmp_path).send(outgoing())
    (tmp_path / "tmp").rmdir()
    (tmp_path / "tmp").symlink_to("/proc")
    assert FolderChannel(tmp_path).send(outgoing(2)).verdict is Verdict.TRY_LATER
    assert len(list((tmp_path / "new").iterdir())) == 1


@pytest.mark.real
@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed: the order of syncs is not seen")
def test_the_file_is_synced_before_its_rename_and_the_folder_after(tmp_path: Path) -> None:
    code = (
        "import pathlib, sys; from notify.channels.folder import FolderChannel;"
        "from tests.channels.conftest import outgoing; FolderChannel(pathlib.Path(sys.argv[1])).send(outgoing())"
    )
    log = tmp_path / "calls"
    traced = ["strace", "-f", "-y", "-o", str(log), "-e", "trace=fsync,fdatasync,rename,renameat,renameat2"]
    run = subprocess.run(
        [*traced, sys.executable, "-c", code, str(tmp_path / "mail")], cwd=Path(__file__).parents[2], check=False
    )
    if run.returncode != 0:
        pytest.skip("strace may not trace here: the order of syncs is not seen")
    calls = [line.split(maxsplit=1)[1] for line in log.read_text().splitlines() if str(tmp_path) in line]
    assert [re.sub(r"\(.*", "", call) for call in calls] == ["fsync", "rename", "fsync"]
    assert "/tmp/" in calls[0].replace(str(tmp_path), "")
    assert calls[2].split(">")[0].endswith("/new")
