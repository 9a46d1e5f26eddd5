"""A channel for text messages through an e-mail-to-SMS gateway of the shop's own choice."""

from __future__ import annotations

import re
from dataclasses import replace

from notify.channels.base import Channel, Outgoing, Receipt, Verdict, is_plain_address
from notify.core.errors import Invalid, Misconfigured

PLACE = "{digits}"

# ITU-T E.164: at most 15 digits, country code first; no country code begins with 0. That fewer than 7 digits
# cannot be a subscriber is common practice, no source.
_E164 = re.compile(r"\+([1-9][0-9]{6,14})")


def gateway_address(template: str, e164: str) -> str:
    """The gateway's address for one number: the template with nothing but the number's digits put in.

    `template` is one plain address with `{digits}` once, before the @; there is no default, since most public
    gateways have shut down. Raises Misconfigured for another template and Invalid for a text that is not
    one E.164 number.
    """
    longest = template.replace(PLACE, "1" * 15)
    if template.partition("@")[0].count(PLACE) != 1 or not is_plain_address(longest):
        raise Misconfigured(
            "The SMS gateway's address template is not usable",
            f"Write one address with {PLACE} once before the @, as your gateway's operator gave it to you.",
            field="sms.template",
        )
    found = _E164.fullmatch(e164)
    if found is None:
        raise Invalid("The number is not in international form", "Use + and 7 to 15 digits.", field="phone")
    return template.replace(PLACE, found[1])


class SmsMailgate:
    """Hands a mail for a number to the channel that carries mail, addressed to the gateway.

    `outgoing.to` is the E.164 number; the payload is the whole mail. ACCEPTED means handed over to the
    gateway, never delivered to the phone: an SMTP answer cannot say more.
    """

    def __init__(self, carrier: Channel, template: str) -> None:
        gateway_address(template, "+447700900000")  # a wrong template shows at the start, not at a message
        self._carrier = carrier
        self._template = template

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send."""
        try:
            address = gateway_address(self._template, outgoing.to)
        except Invalid as error:
            return Receipt(Verdict.NEVER, "address", str(error))
        return self._carrier.send(replace(outgoing, to=address))

    def close(self) -> None:
        """Nothing of its own to close: whoever made the carrier closes it."""
