"""A shop with a customer in every situation, to look at each customer page in every language."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from notify.core.languages import LANGUAGES
from notify.flows import desk_notes, forget, handover, moves, parts, pickup, promises, questions, reach, set_up
from notify.flows.check_in_form import DeviceForm
from notify.store import tickets, visits
from tests.parts.shelved import shelve, token_of


def play(house: Any) -> dict[str, str]:
    """Name of the situation -> path of the page; every customer exists once in each language."""
    set_up.put_supplier(house.ctx, house.actor(), name="Breakwater Parts", cutoff=None, delivers_at=None, days=1)
    paths = {"unknown": "/c/" + "b" * 32}
    for language in LANGUAGES:
        paths[f"privacy_{language}"] = f"/privacy?language={language}"
        for name, path in _customers(house, language).items():
            paths[f"{name}_{language}"] = path
    return paths


def _customers(house: Any, language: str) -> dict[str, str]:
    scenes = {
        "fresh": _fresh, "question": _question, "answered": _answered, "phone_price": _phone_price, "part": _part,
        "bench": _bench, "ready": _ready, "unrepaired": _unrepaired, "booked": _booked, "two": _two, "gone": _gone,
        "over": _over,
    }  # fmt: skip
    found = {name: f"/c/{scene(house, language)}" for name, scene in scenes.items()}
    return {**found, "slots": found["ready"] + "/slots", "moving": found["booked"] + "/slots",
            "not_ready": found["bench"] + "/slots", "said": found["booked"] + "?said=booked"}  # fmt: skip


def _one(house: Any, language: str, **device: Any) -> str:
    form = DeviceForm("Kestrel pocket radio", **{"device_class": "radio", "price_agreed": "38", **device})
    return str(house.check_in(form, language=language, collectors=("Mia Oltmann",)).ticket_ids[0])


def _fresh(house: Any, language: str) -> str:
    ticket = _one(house, language, safety=("swollen", "hot"))
    return token_of(house, ticket)


def _ask(house: Any, language: str, ticket: str, price: str) -> str:
    wording = {
        "en": "The case came in grey instead of green. Shall we fit the grey one?",
        "de": "Das Gehäuse kam in Grau statt in Grün. Sollen wir das graue einbauen?",
        "it": "La custodia è arrivata grigia invece che verde. Montiamo quella grigia?",
    }
    return questions.ask(
        house.ctx, house.actor(), ticket, kind="substitute_part", wording=wording[language], price=price
    )


def _question(house: Any, language: str) -> str:
    ticket = _one(house, language)
    _ask(house, language, ticket, "38")
    return token_of(house, ticket)


def _answered(house: Any, language: str) -> str:
    ticket = _one(house, language, device_class="camera")
    question = _ask(house, language, ticket, "38")
    questions.answer(house.ctx, house.customer(), question, answer="take_it", ticket_id=ticket)
    promises.promise(house.ctx, house.actor(), ticket, house.clock() + timedelta(days=1, hours=2))
    return token_of(house, ticket)


def _phone_price(house: Any, language: str) -> str:
    set_up.change_settings(house.ctx, house.actor(), {"code_above": 50_000})
    ticket = _one(house, language)
    _ask(house, language, ticket, "620")
    return token_of(house, ticket)


def _part(house: Any, language: str) -> str:
    done = house.check_in(DeviceForm("Pad", device_class="e_reader"), language=language, number_is_device=True)
    part = parts.need(house.ctx, house.actor(), done.ticket_ids[0], name="screen")
    parts.order(house.ctx, house.actor(), part, supplier="Breakwater Parts")
    return token_of(house, done.ticket_ids[0])


def _bench(house: Any, language: str) -> str:
    done = house.check_in(DeviceForm("Otter", device_class="handheld"), language=language, phone="", email="")
    for phase in ("inspecting", "in_line", "on_bench"):
        moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    return token_of(house, done.ticket_ids[0])


def _ready(house: Any, language: str) -> str:
    ticket = _one(house, language)
    shelve(house, ticket)
    return token_of(house, ticket)


def _unrepaired(house: Any, language: str) -> str:
    ticket = _one(house, language, device_class="other")
    moves.move(house.ctx, house.actor(), ticket, "on_shelf", outcome="unrepaired", reason="part_not_to_be_had")
    return token_of(house, ticket)


def _booked(house: Any, language: str) -> str:
    ticket = _one(house, language)
    shelve(house, ticket)
    with house.read() as unit:
        visit = tickets.get_ticket(unit, ticket).visit_id
    slot = pickup.offers(house.ctx, house.customer(), visit)[9].slot
    pickup.book(house.ctx, house.customer(), visit, slot.local, fold=slot.fold)
    return token_of(house, ticket)


def _two(house: Any, language: str) -> str:
    done = house.check_in(
        DeviceForm("Box camera", device_class="camera", price_agreed="45"),
        DeviceForm("Pad", device_class="e_reader"), language=language,
    )  # fmt: skip
    shelve(house, done.ticket_ids[0])
    questions.ask(house.ctx, house.actor(), done.ticket_ids[1], kind="give_back", wording="?")
    with house.read() as unit:
        (told,) = visits.visit_people(unit, done.visit_id)["tell"]
    reach.set_use(house.ctx, house.customer(), done.visit_id, told, channel="sms", purposes=("repair", "pickup"),
                  allowed=False, how="claim_page")  # fmt: skip
    return token_of(house, done.ticket_ids[0])


def _gone(house: Any, language: str) -> str:
    ticket = _one(house, language, price_agreed="")
    shelve(house, ticket)
    token = token_of(house, ticket)
    handover.hand_back(house.ctx, house.actor(), ticket_ids=[ticket], token=token)
    return token


def _over(house: Any, language: str) -> str:
    ticket = _one(house, language)
    desk_notes.add_note(house.ctx, house.actor(), ticket, text="asked to be forgotten")
    token = token_of(house, ticket)
    with house.read() as unit:
        person = tickets.get_ticket(unit, ticket).person_id
    forget.erase_person(house.ctx, house.actor(), person)
    return token
