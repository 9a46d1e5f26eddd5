"""What a delivery report changes: RFC 3464 2.3.3 (actions), 2.3.4 (status), RFC 3463 (classes)."""

from __future__ import annotations

import pytest

from notify.core.bounces import Judged, judge, read_status
from notify.core.messages import Delivery

NOT_A_BOUNCE = Judged(None, False)


@pytest.mark.parametrize(
    "status", ["5.1.1", "5.1.0", "5.1.2", "5.1.3", "5.1.6", "5.1.10", "5.2.1", "5.1.1 (bad mailbox)"]
)
@pytest.mark.parametrize("action", ["failed", "Failed", "FAILED", " failed ", "failed (no such user)"])
def test_an_address_that_does_not_work_is_out_of_use(action: str, status: str) -> None:
    assert judge(action, status) == Judged(Delivery.FAILED, True)


@pytest.mark.parametrize(
    "status", ["4.4.7", "4.1.1", "5.2.2", "5.7.1", "5.0.0", "5.4.4", "5.2.11", "5.11.1", "", "no code"]
)
def test_the_message_is_dead_and_the_address_is_not(status: str) -> None:
    """RFC 3464 2.3.3: failed is final whatever the status. RFC 3463: 5.2.2 a full mailbox, 5.7.1 a policy."""
    assert judge("failed", status) == Judged(Delivery.FAILED, False)


@pytest.mark.parametrize("status", ["5.1.7", "5.1.8"])
def test_a_complaint_about_our_own_address_says_nothing_about_the_customers(status: str) -> None:
    """RFC 3463 3.2: X.1.7 and X.1.8 are about the sender's mailbox and system."""
    assert judge("failed", status) == Judged(Delivery.FAILED, False)


@pytest.mark.parametrize(
    ("action", "delivery"),
    [
        ("delayed", Delivery.DELAYED),
        ("delivered", Delivery.DELIVERED),
        ("relayed", Delivery.HANDED_OVER),
        ("expanded", Delivery.HANDED_OVER),
    ],
)
@pytest.mark.parametrize("status", ["5.1.1", "4.4.1", "2.0.0"])
def test_only_failed_is_final(action: str, delivery: Delivery, status: str) -> None:
    assert judge(action, status) == Judged(delivery, False)


@pytest.mark.parametrize("action", ["", "exploded", "fail", "failedly", "(", "x" * 100_000])
def test_an_action_that_nobody_defined_changes_nothing(action: str) -> None:
    assert judge(action, "5.1.1") == NOT_A_BOUNCE


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ("5.1.1 (bad)", "5.1.1"),
        ("(x) 5.1.1", "5.1.1"),
        ("5.01.1", "5.1.1"),
        ("3.1.1", ""),
        ("5.1", ""),
        ("5.1.1.1", ""),
        ("5.1.1000", ""),
        ("55.1.1", ""),
    ],
)
def test_a_status_is_a_class_a_subject_and_a_detail(given: str, code: str) -> None:
    """RFC 3463 2: classes 2, 4 and 5; up to three digits each."""
    assert read_status(given) == code


@pytest.mark.parametrize(
    ("status", "diagnostic", "code"),
    [
        ("5.0.0", "smtp; 550 5.1.1 <(address)>: no such mailbox", "5.1.1"),  # how Exim 4.96 reports (seen)
        ("5.0.0", "SMTP;550-5.1.1 no such mailbox", "5.1.1"),
        ("5.0.0", "smtp; 550 no such mailbox", "5.0.0"),
        ("5.0.0", "", "5.0.0"),
        ("5.0.0", "smtp; 451 4.3.0 later", "5.0.0"),
        ("5.0.0", "x-unix; 550 5.1.1 no such mailbox", "5.0.0"),
        ("5.2.2", "smtp; 550 5.1.1 no such mailbox", "5.2.2"),
        ("4.4.7", "smtp; 550 5.1.1 no such mailbox", "4.4.7"),
        ("", "smtp; 550 5.1.1 no such mailbox", ""),
        ("5.0.0", "smtp; " + "x " * 100_000, "5.0.0"),
    ],
)
def test_a_status_that_says_only_its_class_is_read_from_the_servers_answer(
    status: str, diagnostic: str, code: str
) -> None:
    """RFC 3463 3.1: X.0.0 is "other undefined status"; RFC 3464 2.3.6 and RFC 2034 4 for the answer."""
    assert read_status(status, diagnostic) == code
