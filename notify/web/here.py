"""What a view may ask about the request it answers: the services, the shop, and who is asking."""

from __future__ import annotations

from typing import cast

from flask import current_app, g

from notify.core.actors import Actor
from notify.core.errors import NotAllowed
from notify.flows.context import Context
from notify.flows.staff import SignedIn
from notify.wiring import Services

KEY = "shelfbell"


def services() -> Services:
    """Everything wired for this installation."""
    return cast(Services, current_app.extensions[KEY])


def ctx() -> Context:
    """What flows are handed."""
    return services().context


def is_demo() -> bool:
    """Whether the pages run in the demo, which shows every message to whoever looks."""
    return bool(current_app.config["DEMO"])


def signed_in() -> SignedIn | None:
    """The person of the staff who is asking, or None."""
    return cast("SignedIn | None", g.get("signed_in"))


def shop_id() -> str:
    """The shop of this request: that of the signed-in person or of the claim link, else the first one."""
    known = g.get("shop_id")
    return str(known) if known else services().shop_ids()[0]


def no_shop_known() -> bool:
    """Whether there are several shops and the request says nothing of which."""
    return not g.get("shop_id") and len(services().shop_ids()) > 1


def current_actor() -> Actor:
    """The signed-in person as an actor for flows; raises NotAllowed when nobody is signed in."""
    person = signed_in()
    if person is None:
        raise NotAllowed("Nobody is signed in", "Sign in first.")
    return Actor(shop_id(), "staff", person.staff_id, person.role)


def customer_actor() -> Actor:
    """The customer behind a claim link, as an actor for flows."""
    return Actor(shop_id(), "customer", "customer")
