"""The town's mail that tests borrow is a real one: it delivers, and it reports what it cannot deliver by itself."""

from __future__ import annotations

from email.message import EmailMessage

import pytest

from tests.parts.mta import COUNTER, CUSTOMERS, SHOP, Post

pytestmark = pytest.mark.real


def mail(to: str) -> EmailMessage:
    made = EmailMessage()
    made["From"], made["To"], made["Subject"] = f"counter@{SHOP}", to, "Ready"
    made["Message-ID"] = f"<{to.partition('@')[0]}@{SHOP}>"
    made.set_content("Your radio is ready.")
    return made


def test_mail_goes_through_two_servers_into_a_mailbox_and_comes_back_where_there_is_none(post: Post) -> None:
    for name in ("ines", "nobody-here"):
        to = f"{name}@{CUSTOMERS}"
        post.send(mail(to), sender=f"bounce-abc@{SHOP}", to=to)
    [came] = post.letters("ines", count=1)
    assert came["Message-ID"] == f"<ines@{SHOP}>" and came["Return-path"] == f"<bounce-abc@{SHOP}>"
    assert len(came.get_all("Received", [])) == 2, "it did not pass two servers"
    [report] = post.letters(COUNTER, count=1)
    assert report.get_content_type() == "multipart/report" and report["Return-path"] == "<>"
    assert report["Envelope-to"] == f"bounce-abc@{SHOP}"
    told = next(part for part in report.walk() if part.get_content_type() == "message/delivery-status").as_string()
    assert "Action: failed" in told and "5.1.1" in told, told
    assert post.is_idle()
