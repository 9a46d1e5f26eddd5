"""Sentences that several of the counter's pages say about one device."""

from __future__ import annotations

from typing import Any

from notify.core.tickets import Phase
from notify.flows.view_visit import DeviceView
from notify.render.words import Language
from notify.web.here import services
from notify.web.say import Say

PAPERS = (("roll80", "80 mm roll"), ("roll58", "58 mm roll"), ("a6", "A6 sheet"))


def words() -> Language:
    """The words staff read."""
    return services().words.get("en")


def capital(text: str) -> str:
    """The text with its first letter large; the rest as it is."""
    return text[:1].upper() + text[1:]


def flag(safety: tuple[str, ...]) -> str:
    """ "Battery swollen, has been wet", "" without a flag."""
    return capital(", ".join(words()(f"safety.{one}") for one in safety))


def cautions(safety: tuple[str, ...]) -> list[str]:
    """What staff must mind, each sentence once."""
    return list(dict.fromkeys(words()(f"staff_caution.{one}") for one in safety))


def stands(device: DeviceView) -> str:
    """Where the device stands: "Repaired." or "Not repaired: price declined." on the shelf, else its phase."""
    if device.phase is not Phase.ON_SHELF:
        return words()(f"staff_phase.{device.phase}") + "."
    if device.outcome != "unrepaired":
        return "Repaired."
    reason = words()(f"staff_reason.{device.reason}").lower() if device.reason else ""
    return f"Not repaired: {reason}." if reason else "Not repaired."


def money(device: DeviceView, say: Say) -> str:
    """ "Paid.", "£24.00 still to pay." or that no price was agreed; a deposit on what was not repaired is named."""
    if device.outcome == "unrepaired" and not device.paid:
        held = f" A deposit of {say.money(device.deposit)} was paid." if device.deposit else ""
        return f"Nothing to pay: it was not repaired.{held}"
    if device.left is None:
        return "No price was agreed."
    return f"{say.money(device.left)} still to pay." if device.left else "Paid."


def prints(ticket_id: str) -> list[dict[str, str]]:
    """Links to the claim ticket on every paper."""
    return [{"label": label, "href": f"/tickets/{ticket_id}/print/{paper}.pdf"} for paper, label in PAPERS]


def slip(device: DeviceView, say: Say) -> dict[str, Any]:
    """One device on the page of a visit just taken in."""
    return {
        "id": device.id, "number": device.number, "device": device.device, "place": device.shelf,
        "promise": f"Promised for {say.by(device.promise_at)}." if device.promise_at else "",
        "flag": flag(device.safety), "cautions": cautions(device.safety),
        "prints": prints(device.id) if device.has_claim else [], "label_href": f"/tickets/{device.id}/print/label.pdf",
    }  # fmt: skip
