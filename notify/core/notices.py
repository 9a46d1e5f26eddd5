"""The notices: each kind of message with its audience, purpose (core/consent.TABLE), channels and urgency."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from notify.core.consent import BASIS as BASIS
from notify.core.consent import CONSENT_PURPOSES as CONSENT_PURPOSES
from notify.core.consent import EVERY_PURPOSE as EVERY_PURPOSE
from notify.core.consent import INTERESTS as INTERESTS
from notify.core.consent import PURPOSE_MEANING as PURPOSE_MEANING
from notify.core.consent import PURPOSES as PURPOSES
from notify.core.consent import REACH_CHANNELS as REACH_CHANNELS
from notify.core.consent import SAID as SAID
from notify.core.contact_code import LIFETIME

# Not a purpose one consents to: what answers the customer's own message, by the channel they wrote on.
ANSWER = "answer"
# Nor these: a code that somebody asked for a moment ago, and a warning that their contact or link was changed. The
# event names the one contact that reads it, and no other ever does.
CODE, WARNING = "code", "warning"
# And what becomes of what somebody asked by law about their own data (GDPR art. 12).
PRIVACY = "privacy"
TO_NAMED = (CODE, WARNING, PRIVACY)


@dataclass(frozen=True, slots=True)
class Notice:
    """One kind of message.

    `channels` is the order of preference; `call` says that staff must phone when no channel is left;
    `urgent` may leave in quiet hours; `about` is whose story it belongs to: a ticket or a visit;
    `life` is how long after its due time it is still of use; `bell` waits the undo time first;
    `only_by` tells it only when this kind of doer caused it (core/actors.KINDS).
    """

    name: str
    audience: str
    purpose: str
    channels: tuple[str, ...]
    life: timedelta
    about: str = "ticket"
    call: bool = False
    urgent: bool = False
    bell: bool = True
    only_by: str = ""


_MAIL_FIRST, _SMS_FIRST = ("email", "sms"), ("sms", "email")
_DAY = timedelta(days=1)

# Life times are common practice, no source: a day-old "on its way" helps nobody.
_ALL = (
    Notice("checked_in", "customer", "repair", _MAIL_FIRST, 2 * _DAY, about="visit"),
    Notice("question", "customer", "repair", _SMS_FIRST, 7 * _DAY, call=True),
    Notice("part_ordered", "customer", "repair", _MAIL_FIRST, 2 * _DAY),
    Notice("part_arrived", "customer", "repair", _MAIL_FIRST, _DAY),
    Notice("promise_changed", "customer", "repair", _SMS_FIRST, 2 * _DAY, call=True),
    Notice("ready", "customer", "repair", _SMS_FIRST, 14 * _DAY, about="visit", call=True),
    Notice("called_back", "customer", "repair", _SMS_FIRST, 2 * _DAY, call=True),
    Notice("pickup_confirmed", "customer", "pickup", _MAIL_FIRST, 7 * _DAY, about="visit", bell=False),
    Notice("pickup_moved", "customer", "pickup", _MAIL_FIRST, 7 * _DAY, about="visit", bell=False),
    Notice("pickup_cancelled", "customer", "pickup", _MAIL_FIRST, 7 * _DAY, about="visit"),
    Notice("proposal_declined", "customer", "pickup", _MAIL_FIRST, 3 * _DAY, about="visit"),
    Notice("pickup_reminder", "customer", "reminder", _SMS_FIRST, _DAY, about="visit", bell=False),
    Notice("pickup_missed_note", "customer", "reminder", _SMS_FIRST, 2 * _DAY, about="visit", bell=False),
    Notice("collection_reminder", "customer", "reminder", _SMS_FIRST, 3 * _DAY, about="visit", bell=False),
    Notice("handed_back", "customer", "repair", _MAIL_FIRST, 3 * _DAY, about="visit"),
    Notice("all_well", "customer", "afterwards", _MAIL_FIRST, 3 * _DAY, about="visit", bell=False),
    # Five minutes: 47 CFR 64.1200(a)(12), see may_confirm. The other two answer a question of the moment.
    Notice(
        "stop_confirmed", "customer", ANSWER, _MAIL_FIRST, timedelta(minutes=5), about="visit", urgent=True, bell=False
    ),
    Notice("start_confirmed", "customer", ANSWER, _MAIL_FIRST, _DAY, about="visit", urgent=True, bell=False),
    Notice("help_answer", "customer", ANSWER, _MAIL_FIRST, _DAY, about="visit", urgent=True, bell=False),
    Notice("contact_code", "customer", CODE, _SMS_FIRST, LIFETIME, about="visit", urgent=True, bell=False),
    Notice("contact_changed_old", "customer", WARNING, _SMS_FIRST, 2 * _DAY, about="visit", urgent=True, bell=False),
    Notice("link_replaced", "customer", WARNING, _SMS_FIRST, 2 * _DAY, about="visit", urgent=True, bell=False),
    Notice("request_news", "customer", PRIVACY, _MAIL_FIRST, 7 * _DAY, about="visit", urgent=True, bell=False),
    # By mail only, for it is long; flows/tell_before plans it by day.
    Notice("forget_soon", "customer", PRIVACY, ("email",), 7 * _DAY, about="visit", urgent=True, bell=False),
    # The shop's own bell: by whatever way somebody chose, at once, and the pickups only when no staff did it.
    Notice("answer_shop", "shop", "repair", _MAIL_FIRST, 3 * _DAY, urgent=True, bell=False),
    Notice("part_arrived_shop", "shop", "repair", _MAIL_FIRST, 2 * _DAY, urgent=True, bell=False),
    Notice("part_late_shop", "shop", "repair", _MAIL_FIRST, _DAY, urgent=True, bell=False),
    Notice("hold_review_shop", "shop", "repair", _MAIL_FIRST, 7 * _DAY, about="visit", urgent=True, bell=False),
    Notice("promise_threatened_shop", "shop", "repair", _MAIL_FIRST, 2 * _DAY, urgent=True, bell=False),
    Notice("reply_shop", "shop", "repair", _MAIL_FIRST, 3 * _DAY, urgent=True, bell=False),
    Notice("request_due_shop", "shop", "repair", _MAIL_FIRST, 7 * _DAY, about="visit", urgent=True, bell=False),
    Notice("call_needed", "shop", "repair", _MAIL_FIRST, 7 * _DAY, urgent=True, bell=False),
    Notice(
        "pickup_booked_shop",
        "shop",
        "pickup",
        _MAIL_FIRST,
        _DAY,
        about="visit",
        urgent=True,
        bell=False,
        only_by="customer",
    ),
    Notice(
        "pickup_given_up_shop",
        "shop",
        "pickup",
        _MAIL_FIRST,
        _DAY,
        about="visit",
        urgent=True,
        bell=False,
        only_by="customer",
    ),
)
NOTICES: dict[str, Notice] = {notice.name: notice for notice in _ALL}
CUSTOMER_NOTICES = tuple(n.name for n in _ALL if n.audience == "customer")
ANSWERS = tuple(n.name for n in _ALL if n.purpose == ANSWER)
# What waits for nothing that was told before, and is never sent a second time.
AT_ONCE = tuple(n.name for n in _ALL if n.purpose in (ANSWER, *TO_NAMED))
SECRET = tuple(n.name for n in _ALL if n.purpose == CODE)  # whose words are not kept once they have left
SHOP_NOTICES = tuple(n.name for n in _ALL if n.audience == "shop")
# What somebody is still told whose data are set aside (GDPR art. 18(2)): what they ask for or what protects them, and
# what is needed to give the device back. Without an answer the work never ends; without the others they come in vain.
WHEN_SET_ASIDE = frozenset({
    *AT_ONCE, "question", "ready", "called_back", "pickup_confirmed", "pickup_moved", "pickup_cancelled",
    "proposal_declined",
})  # fmt: skip
