"""The fields of the check-in page: from the posted form to the flow's form, and back onto the page as typed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from werkzeug.datastructures import MultiDict

from notify.core.errors import NotifyError
from notify.flows.check_in_form import MAX_DEVICES, DeviceForm, PersonForm, VisitForm
from notify.web.pages import Problem

Form = MultiDict[str, str]
DEVICE_TEXTS = (
    "device_class", "device", "fault", "condition", "accessories", "price_agreed", "price_limit", "deposit", "shelf",
    "follows", "promise", "kind", "pad",
)  # fmt: skip
VISIT_TEXTS = (
    "name", "phone", "email", "language", "tell_name", "tell_phone", "tell_email", "payer_name", "collector_names",
    "taken_in",
)  # fmt: skip
_NUMBERED = re.compile(r"(.+)-(\d{1,4})")
# Inputs without an id of their own: the field that the sentence is shown beside instead.
_BESIDE = {"phone_purposes": "phone", "email_purposes": "email", "tell_phone_purposes": "tell_phone"}


@dataclass(frozen=True, slots=True)
class Typed:
    """Everything as typed: `visit` and each of `devices` as check_in.html reads them, and the key `once`."""

    visit: dict[str, Any]
    devices: list[dict[str, Any]]
    once: str
    OTHERS: ClassVar[tuple[str, ...]] = ("tell_name", "tell_phone", "tell_email", "payer_name", "collector_names")

    @classmethod
    def empty(cls, *, language: str, once: str) -> Typed:
        """A page nobody has typed on."""
        return replace(cls.read(MultiDict()), once=once).in_language(language)

    @classmethod
    def read(cls, form: Form) -> Typed:
        """The posted fields; devices are renumbered from 1 in their order, at most one more than may be taken in."""
        visit: dict[str, Any] = {name: form.get(name, "") for name in VISIT_TEXTS}
        visit |= {name: form.getlist(name) for name in ("phone_purposes", "email_purposes")}
        visit |= {name: form.get(name) == "yes" for name in ("waits_here", "number_is_device", "child")}
        found = sorted({int(m[2]) for key in form if (m := _NUMBERED.fullmatch(key)) and m[1] == "device"})
        numbers = found[: MAX_DEVICES + 1] or [1]
        return cls(visit, [_device(form, was, i) for i, was in enumerate(numbers, 1)], form.get("once", "")[:60])

    def in_language(self, language: str) -> Typed:
        """The same page with this language chosen."""
        return replace(self, visit={**self.visit, "language": language})

    def from_pad(self, number: str) -> Typed:
        """The same page for a ticket of a pad that was scanned."""
        return replace(self, devices=[{**self.devices[0], "pad": number}, *self.devices[1:]])

    def is_late(self) -> bool:
        """Whether anything of it is entered from paper."""
        return bool(self.visit["taken_in"]) or any(one["pad"] for one in self.devices)

    def with_one_more(self) -> Typed:
        """One empty device more."""
        return replace(self, devices=[*self.devices, _device(MultiDict(), 0, len(self.devices) + 1)])

    def without(self, number: str) -> Typed:
        """The same without the device of that number; the last one stays."""
        left = [one for one in self.devices if str(one["i"]) != number] or self.devices
        return replace(self, devices=[{**one, "i": i} for i, one in enumerate(left, 1)])

    def foreseen(self, number: str, tell: Callable[[dict[str, Any]], dict[str, Any]]) -> Typed:
        """The same with what `tell` says of the ready time beside the device of that number."""
        return replace(self, devices=[
            {**one, "outlook": tell(one)} if str(one["i"]) == number else one for one in self.devices
        ])  # fmt: skip

    def names_others(self) -> bool:
        """Whether anything stands in the part about other people."""
        return any(self.visit[name] for name in self.OTHERS)

    def visit_form(self) -> VisitForm:
        """As the flow takes it."""
        v = self.visit
        return VisitForm(
            bringer=PersonForm(
                v["name"], v["phone"], v["email"], tuple(v["phone_purposes"]), tuple(v["email_purposes"]), v["child"]
            ),
            devices=tuple(_device_form(one) for one in self.devices),
            tell=PersonForm(v["tell_name"], v["tell_phone"], v["tell_email"]),
            payer=PersonForm(v["payer_name"]),
            collectors=tuple(name.strip() for name in v["collector_names"].split(",") if name.strip()),
            language=v["language"], waits_here=v["waits_here"], number_is_device=v["number_is_device"], once=self.once,
            taken_in=v["taken_in"],
        )  # fmt: skip


def page_errors(error: NotifyError) -> list[Problem]:
    """Each problem beside its input: the flow counts devices from 0, the page from 1 and shows no code words."""
    return [{"field": (name := _page_field(one.field)), "text": _text(name, str(one))} for one in error.problems]


def _text(name: str, text: str) -> str:
    return "Choose what kind of device it is." if name.startswith("device_class-") else text


def _page_field(name: str) -> str:
    numbered = _NUMBERED.fullmatch(name)
    if not numbered:
        return _BESIDE.get(name, name)
    return f"{numbered[1]}-{int(numbered[2]) + 1}"


def _device(form: Form, was: int, i: int) -> dict[str, Any]:
    texts: dict[str, Any] = {name: form.get(f"{name}-{was}", "") for name in DEVICE_TEXTS}
    taken = form.get(f"take-{was}", "")  # a press beside a suggested time puts it into the field
    return {"i": i, **texts, "promise": taken or texts["promise"], "paid": form.get(f"paid-{was}") == "yes",
            "safety": form.getlist(f"safety-{was}"), "outlook": None}  # fmt: skip


def _device_form(one: dict[str, Any]) -> DeviceForm:
    texts = {name: one[name] for name in DEVICE_TEXTS}
    return DeviceForm(**texts, paid=one["paid"], safety=tuple(one["safety"]))
