"""The mailbox by command: read, looked at only, ill; replies listed and marked as read."""

from __future__ import annotations

import logging
import threading
from pathlib import Path
from typing import Any

import pytest

from notify.cli.inbox import inbox_jobs, post_of
from notify.cli.serve import own_jobs
from notify.config.load import load
from notify.schedule.jobs import Job
from notify.schedule.runner import Runner
from notify.schedule.when import Every
from tests.cli.conftest import Shop


@pytest.fixture
def box(shop: Shop) -> Path:
    """A Maildir that the settings name."""
    folder = shop.installation.config.parent / "box"
    for name in ("new", "cur", "tmp"):
        (folder / name).mkdir(parents=True)
    set_inbox(shop, f'transport = "maildir"\nmaildir = "{folder}"\n')
    return folder


def set_inbox(shop: Shop, lines: str) -> None:
    """Puts lines into the section of the settings that `init` wrote."""
    file = shop.installation.config
    text = file.read_text("utf-8")
    assert "\n[inbox]\n" in text
    file.write_text(text.replace("\n[inbox]\n", f"\n[inbox]\n{lines}"), "utf-8")


def put(box: Path, text: str, *, sender: str = "ida@example.org", key: str = "m1") -> None:
    letter = f"From: {sender}\nTo: counter@example.org\nSubject: hello\nMessage-ID: <{key}@example.org>\n\n{text}\n"
    (box / "new" / f"{key}.test").write_bytes(letter.encode())


def test_a_letter_is_looked_at_then_taken_then_listed_then_marked_as_read(shop: Shop, box: Path) -> None:
    number = shop.check_in()
    put(box, "May my sister collect it on Friday?")
    put(box, "STOP", key="m2")
    put(box, "Do you mend organs?", sender="ute@example.net", key="m3")
    assert "3 from people" in shop.ok("inbox", "--dry-run").out
    assert shop.ok("replies", "--json").data["lines"] == []
    assert shop.ok("inbox", "--once", "--json").data["counts"] == {"reply": 3}
    assert "No new letters" in shop.ok("inbox").out
    said = shop.ok("replies").out
    for part in (
        number,
        "Ida Moss",
        "May my sister collect it",
        "stop  done",
        "a stranger",
        "ute@example.net",
        "2 not",
    ):
        assert part in said, part
    assert "ida@example.org" not in said
    lines = shop.ok("replies", "--json").data["lines"]
    (new,) = [one["id"] for one in lines if one["is_new"] and one["who"] == "customer"]
    assert shop.ok("reply", "seen", new, "--json").data == {"reply": new}
    assert shop("reply", "seen", new).code == 5 and shop("reply", "seen", "none").code == 4
    person = next(one for one in shop.ok("ticket", "show", number, "--json").data["people"])
    assert [one["uses"] for one in person["contacts"] if one["channel"] == "email"] == [[]]


def test_without_a_mailbox_the_command_says_what_to_set_and_serve_has_no_job_for_it(shop: Shop) -> None:
    said = shop("inbox")
    assert said.code == 6 and "inbox.transport" in said.err
    assert inbox_jobs(load(shop.installation.config)) == ()


@pytest.mark.long
def test_a_mailbox_that_does_not_answer_is_one_line_in_the_log_and_a_warning_of_check(
    shop: Shop, caplog: pytest.LogCaptureFixture
) -> None:
    settings, secret = shop.installation.config, shop.installation.config.parent / "box.password"
    secret.write_text("four kind words\n")
    secret.chmod(0o600)
    lines = 'transport = "imap"\nhost = "127.0.0.1"\nport = 9\nsecurity = "none"\nusername = "b"\n'
    set_inbox(shop, f'{lines}password_file = "{secret}"\n')
    said = shop("check")
    assert said.code == 0 and "mind   The mailbox does not answer" in said.out
    services = shop.installation.open()
    (job,) = own_jobs(load(settings), settings)
    assert job.slow
    from notify.schedule.jobs import Run

    with caplog.at_level(logging.WARNING):
        job.flow(Run(services, "", services.context.clock(), services.context.clock()))
    assert [record.name for record in caplog.records] == ["shelfbell.inbox"]
    assert "four kind words" not in caplog.text and "127.0.0.1" not in caplog.text
    shop.installation.close()


def test_the_settings_say_where_calendars_answer_and_whose_word_counts(shop: Shop) -> None:
    set_inbox(shop, 'authserv_id = "mx.quillhaven.test"\n')
    file = shop.installation.config
    text = file.read_text("utf-8")
    assert "\n[invite]\n" in text
    file.write_text(text.replace("\n[invite]\n", '\n[invite]\norganizer = "pickup-{token}@quillhaven.test"\n'), "utf-8")
    post = post_of(shop.installation.open())
    assert (post.organizer, post.authserv_id) == ("pickup-{token}@quillhaven.test", "mx.quillhaven.test")
    shop.installation.close()


@pytest.mark.real
def test_a_mailbox_that_hangs_holds_up_none_of_the_clocks_own_jobs(shop: Shop) -> None:
    services = shop.installation.open()
    hung, ran = threading.Event(), threading.Event()

    def wait(_: Any) -> None:
        hung.wait(180)

    jobs = (Job("hangs", Every(1), wait, per_shop=False, leased=False, slow=True),
            Job("runs", Every(1), lambda run: ran.set(), per_shop=False, leased=False))  # fmt: skip
    runner = Runner(services, by="here", jobs=jobs)
    runner.start()
    try:
        assert ran.wait(60)
    finally:
        hung.set()
        runner.stop()
        shop.installation.close()
