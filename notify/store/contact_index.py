"""How an address is spelt before its blind index is made, so that everybody who asks spells it alike."""

from __future__ import annotations


def spelt(channel: str, address: str) -> str:
    """Capitals do not tell mailboxes apart here: whoever writes from Pat@ means the mailbox pat@ (a choice)."""
    return address.lower() if channel == "email" else address
