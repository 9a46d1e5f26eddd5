"""The list of those who want nothing more, as keyed hashes: enough to know an address again, useless without the key.

HMAC-SHA-256 (RFC 2104, FIPS 180-4) over the normalised address; without a key a phone number would be found by trying
them all. The key of the blind index is used, whose name stands in each row: no hash can be made anew from another.
"""

from __future__ import annotations

import hashlib
import hmac

from notify.core.notices import ANSWER, WARNING

# By what ways it may have been said by somebody else than the reader of the address: a thief would say it first, so
# these alone do not silence the warning that a contact was changed (flows/holds.py says for how long).
BY_OTHERS = ("counter", "claim_page", "command")
CARRIED = "carried_over"  # a new address of somebody whose stop of the channel stands
ADDED = "added"  # the owner wrote it into the list


def normal_form(channel: str, address: str) -> str:
    """A stored address (E.164, or an addr-spec) as it is hashed, for this list and for the blind index.

    The domain of an e-mail is in lower case already; the part before the @ is folded too, our choice and no setting.
    RFC 5321 2.4 lets a server tell Pat from pat, hardly any does; whoever stopped as pat@ must not be written to as
    Pat@, and where it really is somebody else they are asked once more.
    """
    return address.lower() if channel == "email" else address


def suppression_hash(key: bytes, normalised: str) -> str:
    """64 hexadecimal digits, of a normalised address."""
    return hmac.new(key, normalised.encode(), hashlib.sha256).hexdigest()


def is_silenced(purpose: str, how: str) -> bool:
    """Whether nothing of this purpose may go to an address that is suppressed since it was said by the way `how`.

    "" is an address that is not. An answer goes to whoever has just written, as the one confirmation of a stop does. A
    warning goes unless the reader stopped it: else whoever they are to be warned of would say it for them.
    """
    if not how or purpose == ANSWER:
        return False
    return purpose != WARNING or how not in BY_OTHERS
