"""The proof of consent in plain sentences, for the page, the paper and the command alike."""

from __future__ import annotations

from notify.core.consent import PURPOSE_MEANING, REPLY_VERSION

CHANNELS = {"sms": "text messages", "email": "e-mail"}
HOW = {
    "counter": "at the counter", "claim_page": "on the claim page", "reply": "by writing back",
    "one_click": "by the link in a mail", "pad": "on a paper claim ticket", "api": "through a script of the shop",
    "source": "through another system", "command": "at the counter, entered by command",
    "objection": "by an objection to what rests on the shop's interest",
    "restore": "when a backup was brought back in which a later withdrawal may be missing",
}  # fmt: skip
_BASIS = {"consent": "their consent", "contract": "the repair they ordered", "interest": "the shop's interest"}
_DID = {"restore": "the shop ended", "objection": "they objected to"}
_LANGUAGES = {"en": "English", "de": "German", "it": "Italian"}
# By what way everything was stopped, for the list of stops.
REASONS = {**HOW, "carried_over": "with an earlier address of the same person", "added": "to us and noted here"}


def say_entry(
    *, when: str, allowed: bool, channel: str, purpose: str, basis: str, text: str, wording: str, language: str,
    how: str, by: str, evidence: str, evidence_id: str,
) -> str:  # fmt: skip
    """One row: who said what when, how, in which words, and what shows it."""
    did = _DID.get(how) or ("they allowed" if allowed else "they withdrew")
    entered = f", noted by {by}" if by else ""
    what = "The words shown" if allowed else "What was taken back"
    words = f' {what}, in {_LANGUAGES.get(language, language)}: "{text}" ({wording}).' if text else ""
    if wording == REPLY_VERSION:  # nothing was shown: what they wrote is kept with the reply
        words = " In their own words, which stand in the reply."
    shown = f" Evidence: {evidence} {evidence_id}." if evidence else ""
    named = _BASIS.get(basis, basis)
    ground = f" It rests on {named}." if allowed else ""
    said = f"{when}: {did} {CHANNELS[channel]} for {PURPOSE_MEANING[purpose]}, {HOW.get(how, how)}{entered}."
    return f"{said}{ground}{words}{shown}"


def say_way(*, channel: str, masked: str, allowed: tuple[str, ...], stopped_on: str) -> str:
    """What counts today for one contact; `stopped_on` is a day in words, "" when nothing was stopped."""
    if stopped_on:
        return f"{masked}: nothing goes there, everything was stopped on {stopped_on}."
    if not allowed:
        return f"{masked}: nothing may be sent there."
    said = "; ".join(PURPOSE_MEANING[one] for one in allowed)
    return f"{masked}: {CHANNELS[channel]} for {said}."
