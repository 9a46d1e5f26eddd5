"""The check-in form: as typed, and checked field by field. Longer than other rooms: every problem is found at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from notify.core.claim_number import parse_number
from notify.core.consent import EVERY_PURPOSE, PURPOSES, not_for_a_child, refused_for_child
from notify.core.contacts import parse_email, parse_phone
from notify.core.errors import Invalid, NotFound
from notify.core.instants import need_near
from notify.core.languages import LANGUAGES
from notify.core.late_entry import read_past
from notify.core.money import parse_amount
from notify.core.shop import Shop
from notify.core.text import clean_block, clean_line
from notify.flows.pad_fields import blank, named_twice
from notify.store import repair_kinds, tickets
from notify.store.database import Unit
from notify.store.pad_tickets import PadTicket

T = TypeVar("T")
DEVICE_CLASSES = ("radio", "camera", "e_reader", "handheld", "other")
SAFETY_FLAGS = ("swollen", "hot", "leaking", "wet")
MAX_DEVICES = 20


@dataclass(frozen=True, slots=True)
class PersonForm:
    """A person as typed: everything text, nothing checked yet.

    Purposes are codes of core/notices; what needs consent is never among those assumed.
    """

    name: str = ""
    phone: str = ""
    email: str = ""
    phone_purposes: tuple[str, ...] = PURPOSES
    email_purposes: tuple[str, ...] = PURPOSES
    child: bool = False  # a child's contact: nothing optional may be allowed

    def is_empty(self) -> bool:
        """Whether nothing was typed."""
        return not (self.name.strip() or self.phone.strip() or self.email.strip())


@dataclass(frozen=True, slots=True)
class DeviceForm:
    """A device as typed. Amounts are text in the shop's currency, `promise` is shop-local ISO time or empty."""

    device: str
    device_class: str = "other"
    fault: str = ""
    condition: str = ""
    accessories: str = ""
    price_agreed: str = ""
    price_limit: str = ""
    deposit: str = ""
    paid: bool = False
    shelf: str = ""
    safety: tuple[str, ...] = ()
    follows: str = ""
    promise: str = ""
    kind: str = ""  # of repair: its name or identifier; empty: not said
    pad: str = ""  # claim number of the ticket printed in advance that the customer holds; empty: a new one


@dataclass(frozen=True, slots=True)
class VisitForm:
    """A whole check-in as typed. `once` is an idempotency key: the same key checks in only once.

    `taken_in` is when it happened, shop-local ISO time, for what is entered from paper; empty: now.
    """

    bringer: PersonForm
    devices: tuple[DeviceForm, ...]
    tell: PersonForm = field(default_factory=PersonForm)
    payer: PersonForm = field(default_factory=PersonForm)
    collectors: tuple[str, ...] = ()
    language: str = ""
    waits_here: bool = False
    number_is_device: bool = False
    once: str = ""
    taken_in: str = ""


@dataclass(frozen=True, slots=True)
class CheckedPerson:
    """A person, checked: E.164 number, one addr-spec, purposes."""

    name: str
    phone: str
    email: str
    phone_purposes: tuple[str, ...]
    email_purposes: tuple[str, ...]
    child: bool = False

    def ways(self) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
        """Channel, address ("" for none) and purposes of each way."""
        return (("sms", self.phone, self.phone_purposes), ("email", self.email, self.email_purposes))


class CheckedForm:
    """The form with every field parsed; its making raises Invalid with all problems at once."""

    def __init__(self, unit: Unit, shop: Shop, form: VisitForm, *, now: datetime) -> None:
        self._problems: list[Invalid] = []
        self.warnings: list[str] = []
        self.unused: set[tuple[str, str]] = set()  # channel and address at which everything was stopped before
        self.shop_language = shop.language
        self._unit, self._shop, self._now = unit, shop, now
        self.at = self._taken_in(form.taken_in)
        self.language = self._one_of(form.language or shop.language, LANGUAGES, "language")
        self.bringer = self._person(form.bringer, "")
        self.tell = None if form.tell.is_empty() else self._person(form.tell, "tell_")
        self.payer = None if form.payer.is_empty() else self._person(form.payer, "payer_")
        self.collectors = tuple(
            name for name in (self._line(n, "collector_names", 80) for n in form.collectors) if name
        )
        if not form.devices:
            self._problems.append(Invalid("There is no device", "Name at least one.", field="device-0"))
        if len(form.devices) > MAX_DEVICES:
            self._problems.append(
                Invalid("Too many devices for one visit", f"Take in {MAX_DEVICES} at a time.", field="device-0")
            )
        self.devices = tuple(self._device(d, i) for i, d in enumerate(form.devices[:MAX_DEVICES]))
        self._problems.extend(named_twice([one["pad"] for one in self.devices]))
        if self._problems:
            raise Invalid.many(self._problems)

    def _try(self, parse: Callable[[], str], field: str) -> str:
        try:
            return parse()
        except Invalid as problem:
            problem.field = field
            self._problems.append(problem)
            return ""

    def _line(self, text: str, field: str, limit: int = 120) -> str:
        return self._try(lambda: clean_line(text, field=field, limit=limit), field)

    def _block(self, text: str, field: str, limit: int = 4000) -> str:
        return self._try(lambda: clean_block(text, field=field, limit=limit), field)

    def _one_of(self, text: str, known: tuple[str, ...], field: str) -> str:
        if text not in known:
            what = f"{text[:40]!r} is not known here" if text else "Nothing was chosen"
            self._problems.append(Invalid(what, f"Use one of: {', '.join(known)}.", field=field))
        return text

    def _person(self, form: PersonForm, prefix: str) -> CheckedPerson:
        phone = self._phone(form.phone, f"{prefix}phone") if form.phone.strip() else ""
        email = self._try(lambda: parse_email(form.email), f"{prefix}email") if form.email.strip() else ""
        for purposes, name in ((form.phone_purposes, "phone"), (form.email_purposes, "email")):
            for purpose in purposes:
                self._one_of(purpose, EVERY_PURPOSE, f"{prefix}{name}_purposes")
            if form.child and (refused := refused_for_child(purposes)):
                self._problems.append(not_for_a_child(refused, field=f"{prefix}{name}_purposes"))
        return CheckedPerson(
            self._line(form.name, f"{prefix}name", 80), phone, email, form.phone_purposes, form.email_purposes,
            form.child,
        )  # fmt: skip

    def _phone(self, text: str, field: str) -> str:
        def parse() -> str:
            phone = parse_phone(text, region=self._shop.region or None)
            self.warnings.extend(phone.warnings)
            return phone.e164

        return self._try(parse, field)

    def _device(self, form: DeviceForm, i: int) -> dict[str, object]:
        before = len(self._problems)
        device = self._line(form.device, f"device-{i}")
        if not device and len(self._problems) == before:
            self._problems.append(
                Invalid(f"Device {i + 1} has no name", "Say in a few words what it is.", field=f"device-{i}")
            )
        texts = {
            "device": device,
            "fault": self._block(form.fault, f"fault-{i}"),
            "condition": self._block(form.condition, f"condition-{i}"),
            "accessories": self._block(form.accessories, f"accessories-{i}", 1000),
        }
        safety = tuple(self._one_of(flag, SAFETY_FLAGS, f"safety-{i}") for flag in form.safety)
        return {
            "texts": texts,
            "device_class": self._one_of(form.device_class, DEVICE_CLASSES, f"device_class-{i}"),
            "price_agreed": self._amount(form.price_agreed, f"price_agreed-{i}"),
            "price_limit": self._amount(form.price_limit, f"price_limit-{i}"),
            "deposit": self._amount(form.deposit, f"deposit-{i}"),
            "paid": form.paid,
            "shelf": self._line(form.shelf, f"shelf-{i}", 20),
            "safety": list(dict.fromkeys(safety)),
            "follows_id": self._follows(form.follows, f"follows-{i}"),
            "promise_at": self._promise(form.promise, f"promise-{i}"),
            "kind_id": self._kind(form.kind, f"kind-{i}"),
            "pad": self._pad(form.pad, f"pad-{i}"),
        }

    def _taken_in(self, text: str) -> datetime:
        try:
            at = read_past(text, zone_name=self._shop.zone, now=self._now, field="taken_in")
        except Invalid as problem:
            self._problems.append(problem)
            at = None
        return at or self._now

    def _pad(self, text: str, field: str) -> PadTicket | None:
        return self._found(text, field, lambda: blank(self._unit, text, taken_in=self.at))

    def _found(self, text: str, field: str, find: Callable[[], T]) -> T | None:
        """What was named, None for nothing typed; a name that is none is a problem."""
        if not text.strip():
            return None
        try:
            return find()
        except (Invalid, NotFound) as problem:
            self._problems.append(Invalid(problem.what, problem.advice, field=field))
            return None

    def _amount(self, text: str, field: str) -> int | None:
        if not text.strip():
            return None
        try:
            return parse_amount(text, currency=self._shop.currency)
        except Invalid as problem:
            problem.field = field
            self._problems.append(problem)
            return None

    def _follows(self, text: str, field: str) -> str | None:
        return self._found(text, field, lambda: tickets.find_by_number(self._unit, parse_number(text)).id)

    def _kind(self, text: str, field: str) -> str | None:
        return self._found(text, field, lambda: repair_kinds.find_kind(self._unit, text).id)

    def _promise(self, text: str, field: str) -> datetime | None:
        if not text.strip():
            return None
        try:
            at = datetime.fromisoformat(text.strip())
        except ValueError:
            self._problems.append(
                Invalid("The promised time cannot be read", "Write it as 2026-11-26T11:30.", field=field)
            )
            return None
        at = at if at.tzinfo else at.replace(tzinfo=ZoneInfo(self._shop.zone))
        try:
            at = need_near(at, now=self._now, field=field)
        except Invalid as problem:
            self._problems.append(problem)
            return None
        if at <= self.at:  # of what is entered from paper the promise may have passed since
            what = "The promised time is past" if self.at == self._now else "It was promised before it was taken in"
            self._problems.append(Invalid(what, "Name a later one.", field=field))
        return at
