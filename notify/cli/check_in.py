"""Check a visit in, from options or from a JSON file."""

from __future__ import annotations

import json
from dataclasses import fields
from typing import IO, Any

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.core.claim_number import show_number
from notify.core.errors import Invalid
from notify.core.notices import CONSENT_PURPOSES, PURPOSES, REACH_CHANNELS
from notify.flows import check_in as flow
from notify.flows.check_in_form import DEVICE_CLASSES, SAFETY_FLAGS, DeviceForm, PersonForm, VisitForm

_PURPOSES = click.Choice(PURPOSES)


@click.command("check-in", cls=Command)
@click.option("--device", help="What it is, in a few words.")
@click.option("--class", "device_class", type=click.Choice(DEVICE_CLASSES), default="other", show_default=True)
@click.option("--fault", default="", help="What is wrong with it.")
@click.option("--condition", default="", help="Scratches and the like.")
@click.option("--accessories", default="", help="What came with it.")
@click.option("--price-agreed", default="", help="Amount, in the shop's currency.")
@click.option("--price-limit", default="", help="Up to here without asking.")
@click.option("--deposit", default="")
@click.option("--paid", is_flag=True)
@click.option("--shelf", default="", help="Where it lies.")
@click.option("--safety", multiple=True, type=click.Choice(SAFETY_FLAGS), help="May be given several times.")
@click.option("--follows", default="", help="Claim number of the earlier ticket of a warranty return.")
@click.option("--promise", default="", help="Ready by, as 2026-11-26T11:30 of the shop's clock.")
@click.option("--kind", default="", help="Kind of repair: a name from `shelfbell kind list`.")
@click.option("--pad", default="", help="Claim number of the ticket from a pad that the customer holds.")
@click.option("--taken-in", default="", help="When it was, as 2026-11-26T11:30 of the shop's clock; now if left out.")
@click.option("--name", default="", help="Who brings it.")
@click.option("--phone", default="")
@click.option("--email", default="")
@click.option("--phone-for", multiple=True, type=_PURPOSES, help="What the number may be used for; both if left out.")
@click.option("--email-for", multiple=True, type=_PURPOSES, help="What the address may be used for.")
@click.option("--afterwards", multiple=True, type=click.Choice(REACH_CHANNELS),
              help="They agreed to be asked once, some days later, whether all is well.")  # fmt: skip
@click.option("--child", is_flag=True, help="A child's contact: nothing but the repair may be sent there.")
@click.option("--collector", multiple=True, help="Who else may collect; may be given several times.")
@click.option("--language", default="", help="Of the customer; the shop's if left out.")
@click.option("--waits-here", is_flag=True, help="No messages in between.")
@click.option("--number-is-device", is_flag=True, help="The number is in the device that stays here.")
@click.option("--once", default="", help="A key of your own: with the same one a visit is checked in only once.")
@click.option("--from-json", type=click.File("r"), help="The whole visit as JSON (- is the standard input): bringer, "
              "tell, payer, devices, collectors, language, waits_here, number_is_device, once, taken_in.")  # fmt: skip
@pass_desk
def check_in(desk: Desk, /, from_json: IO[str] | None, **typed: Any) -> None:
    """Check devices in. Prints the claim number of each, which is what the other commands take.

    Several devices of one visit, or other people to tell or to pay, are given with --from-json.
    """
    form = _from_json(from_json.read()) if from_json else _from_options(typed)
    done = flow.check_in(desk.ctx, desk.actor, form, how="command")
    numbers = [show_number(number) for number in done.numbers]
    shown = {"visit": done.visit_id, "numbers": numbers, "warnings": done.warnings}
    lines = [f"Checked in: {number}" for number in numbers] + [f"Please note: {text}" for text in done.warnings]
    desk.show(shown, *lines, f"Print the claim ticket: shelfbell print {numbers[0]} claim-ticket.pdf")


def _from_options(typed: dict[str, Any]) -> VisitForm:
    device = DeviceForm(**{f.name: typed[f.name] for f in fields(DeviceForm)} | {"device": typed["device"] or ""})
    person = PersonForm(
        name=typed["name"], phone=typed["phone"], email=typed["email"],
        phone_purposes=_uses(typed, "phone_for", "sms"), email_purposes=_uses(typed, "email_for", "email"),
        child=typed["child"],
    )  # fmt: skip
    return VisitForm(
        bringer=person, devices=(device,), collectors=typed["collector"], language=typed["language"],
        waits_here=typed["waits_here"], number_is_device=typed["number_is_device"], once=typed["once"],
        taken_in=typed["taken_in"],
    )  # fmt: skip


def _uses(typed: dict[str, Any], option: str, channel: str) -> tuple[str, ...]:
    """What a channel may be used for: what needs consent only where it was said."""
    return (typed[option] or PURPOSES) + (CONSENT_PURPOSES if channel in typed["afterwards"] else ())


def _from_json(text: str) -> VisitForm:
    try:
        given = json.loads(text)
    except (ValueError, RecursionError):
        raise Invalid("The file is no JSON", "Look for a missing quote or bracket.", field="from_json") from None
    whole = _object(given, VisitForm, "the visit")
    for name in ("bringer", "tell", "payer"):
        if name in whole:
            whole[name] = PersonForm(**_object(whole[name], PersonForm, name))
    devices = whole.pop("devices", [])
    if not isinstance(devices, list):
        raise Invalid("devices is no list", "Write devices as [{...}, {...}].", field="devices")
    made = tuple(
        DeviceForm(**{"device": ""} | _object(d, DeviceForm, f"device {i + 1}")) for i, d in enumerate(devices)
    )
    return VisitForm(**{"bringer": PersonForm()} | whole | {"devices": made})


def _object(given: Any, form: type, what: str) -> dict[str, Any]:
    """The object with texts, flags and lists of texts only; raises Invalid for another key or kind of value."""
    if not isinstance(given, dict):
        raise Invalid(f"{what} is no JSON object", "Write it as {...}.", field="from_json")
    known = {f.name: f for f in fields(form)}
    for key, value in given.items():
        if key not in known:
            raise Invalid(f"{what} has no {str(key)[:40]!r}", f"Known: {', '.join(known)}.", field=str(key)[:40])
        if key not in ("bringer", "tell", "payer", "devices") and not _fits(known[key].type, value):
            raise Invalid(f"{key} of {what} has a value that does not fit", "Amounts and times are texts.", field=key)
    return {
        key: tuple(value) if isinstance(value, list) and key != "devices" else value for key, value in given.items()
    }


def _fits(kind: Any, value: Any) -> bool:
    if kind == "bool":
        return isinstance(value, bool)
    if kind == "str":
        return isinstance(value, str)
    return isinstance(value, list) and all(isinstance(one, str) for one in value)
