"""For what somebody may be written to, on which ground, and what of it is allowed today: one table, one derivation.

Not legal advice, check your local law. Sources as known on 28 November 2026: GDPR art. 6(1)(b), 7(1), 7(3) and 7(4);
ePrivacy art. 13; PECR reg. 22; 47 CFR 64.1200(a)(10) and (12); German BGH VI ZR 225/17. What is said once of the whole
table: a stop of a channel ends every purpose there but the one confirmation of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from notify.core.errors import Invalid

CONTRACT, CONSENT, LEGAL, INTEREST = "contract", "consent", "legal", "interest"


@dataclass(frozen=True, slots=True)
class Purpose:
    """`optional`: only with a consent of its own, never ticked beforehand, never for a child's contact. `stoppable`: a
    stop of the channel ends it. `quiet`: it waits for decent hours. `meaning` is for staff."""

    code: str
    basis: str
    meaning: str
    source: str
    optional: bool = False
    stoppable: bool = True
    quiet: bool = True


# We send no offers and no newsletter, so no consent is collected for any: a purpose without a message would be a lie.
TABLE: tuple[Purpose, ...] = (
    Purpose("repair", CONTRACT, "news and questions about the repair", "GDPR art. 6(1)(b): the work that was ordered"),
    Purpose("pickup", CONTRACT, "pickup times", "GDPR art. 6(1)(b): giving back what was handed in"),
    Purpose(
        "reminder", INTEREST, "reminders of a pickup time or of a device that waits", "GDPR art. 6(1)(f): the shop's"
        " interest that it goes home; art. 21(1): no more of them once somebody objects",
    ),
    Purpose(
        "afterwards", CONSENT, "one question, some days after the device went home, whether all is well",
        "BGH VI ZR 225/17: asking how satisfied somebody is counts as advertising; PECR reg. 22: for each channel",
        optional=True,
    ),
    Purpose(
        "answer", LEGAL, "the answer to the customer's own message, and the one confirmation of a stop",
        "47 CFR 64.1200(a)(12): one confirmation within five minutes, also in quiet hours", stoppable=False,
        quiet=False,
    ),
    Purpose(
        "code", CONTRACT, "a code that somebody asked for a moment ago",
        "our choice: whoever wants nothing there gets no code either, for anybody who knows a claim number may ask for"
        " one", quiet=False,
    ),
    Purpose(
        "warning", CONTRACT, "that another contact or claim ticket was noted", "GDPR art. 32: against whoever takes the"
        " customer's place; not to whoever stopped it themselves", quiet=False,
    ),
    Purpose(
        "privacy", LEGAL, "what becomes of one's own data, asked for or soon forgotten",
        "GDPR art. 12(3) and (4); our choice: as a code, to a contact that is to get something",
        quiet=False,
    ),
)  # fmt: skip
BY_CODE: Mapping[str, Purpose] = {one.code: one for one in TABLE}
# What somebody says for themselves, by the ground it rests on; the others follow from what was asked or happened.
ASKED = ("repair", "pickup", "afterwards")
PURPOSES = tuple(one for one in ASKED if not BY_CODE[one].optional)
CONSENT_PURPOSES = tuple(one for one in ASKED if BY_CODE[one].optional)
EVERY_PURPOSE = (*PURPOSES, *CONSENT_PURPOSES)
# What rests on the shop's interest goes with a purpose of the contract, until somebody objects (GDPR art. 21(1)).
INTERESTS: Mapping[str, str] = {"reminder": "pickup"}
SAID = tuple(one.code for one in TABLE if one.code in ASKED or one.code in INTERESTS)  # what a row may be about
BASIS = {one: BY_CODE[one].basis for one in SAID}
PURPOSE_MEANING = {one: BY_CODE[one].meaning for one in SAID}
REACH_CHANNELS = ("email", "sms")

# Which version of the words under `consent.<purpose>` in templates/words is shown beside each box, on every page and
# paper. Other words need another version here.
VERSIONS: Mapping[str, str] = {"repair": "repair-1", "pickup": "pickup-2", "afterwards": "afterwards-1",
                               "reminder": "reminder-1"}  # fmt: skip
REPLY_VERSION = "reply-1"  # what was agreed to or stopped are the reply's own words, kept with it
# By what way somebody said it.
# `restore`: nobody said it; a later withdrawal may be missing in the backup that was brought back.
HOW = ("counter", "claim_page", "reply", "one_click", "pad", "api", "source", "command", "restore", "objection")

Said = tuple[str, str, bool]  # channel, purpose, allowed: one row of the ledger


def standing(rows: Iterable[Said]) -> dict[tuple[str, str], bool]:
    """(channel, purpose) -> whether it is allowed, from one person's rows, the oldest first: the newest row counts."""
    return {(channel, purpose): allowed for channel, purpose, allowed in rows}


def allowed_on(state: Mapping[tuple[str, str], bool], channel: str) -> frozenset[str]:
    """The purposes that somebody allowed on a channel; what rests on our interest is not among them."""
    return frozenset(
        purpose for (way, purpose), allowed in state.items() if way == channel and allowed and purpose not in INTERESTS
    )


def objected_on(state: Mapping[tuple[str, str], bool], channel: str) -> frozenset[str]:
    """Those of INTERESTS that somebody objected to on a channel."""
    return frozenset(one for one in INTERESTS if not state.get((channel, one), True))


def in_use(state: Mapping[tuple[str, str], bool], channel: str) -> frozenset[str]:
    """What may be sent on a channel: the purposes allowed there, and what of INTERESTS goes with them."""
    allowed = allowed_on(state, channel)
    return allowed | ({one for one, base in INTERESTS.items() if base in allowed} - objected_on(state, channel))


def is_stopped(state: Mapping[tuple[str, str], bool], channel: str) -> bool:
    """Whether everything was stopped there: nothing is allowed, and what belongs to the repair was withdrawn.

    Who only takes back a consent, or never allowed anything, stopped no more than that.
    """
    said = {purpose for way, purpose in state if way == channel}
    return not allowed_on(state, channel) and not said.isdisjoint(PURPOSES)


def is_unheard(state: Mapping[tuple[str, str], bool], channel: str) -> bool:
    """Whether they never said anything of this channel; an objection goes for all of them, and is no word about one."""
    return all(way != channel or purpose in INTERESTS for way, purpose in state)


def may_be_asked(purposes: Iterable[str], *, child: bool) -> tuple[str, ...]:
    """Those of these purposes that somebody can agree to here: nothing optional for a child's contact."""
    return tuple(one for one in purposes if not (child and one in CONSENT_PURPOSES))


def refused_for_child(purposes: Collection[str]) -> tuple[str, ...]:
    """Those that are never accepted for a child's contact."""
    return tuple(one for one in purposes if one in CONSENT_PURPOSES)


def not_for_a_child(purposes: Iterable[str], *, field: str) -> Invalid:
    """What is said where something optional is asked of a child's contact."""
    return Invalid(
        "This is a child's contact: only what belongs to the repair may be sent there",
        f"Leave out: {'; '.join(BY_CODE[one].meaning for one in purposes)}.", field=field,
    )  # fmt: skip
