"""Settings of the shop: the page, and what each of its forms changes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.core.errors import NotifyError
from notify.core.rings import RINGS_BY
from notify.core.roles import STAFF_ROLES, may
from notify.flows import feeds, set_up, staff, staff_bell
from notify.flows.hits import WouldHit
from notify.flows.view_hits import count_hits
from notify.flows.view_settings import view
from notify.web import carry
from notify.web.counter import desk_words as d
from notify.web.counter import keep_says
from notify.web.counter import settings_says as says
from notify.web.counter import suppliers as supplier_form
from notify.web.here import ctx, current_actor, services
from notify.web.pages import ROLES, Problem, redirect_with, render_page, say

pages = Blueprint("settings", __name__)
WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
SHOP = ("name", "phone", "email", "region", "address")
TELLING = ("bell_phone", "alarm_minutes", "sms_part_price", "all_well_days", "forget_notice_days", "long_past_hours")
PICKUP = ("counter_people", "slot_minutes", "lead_minutes", "horizon_days", "telling_hours")
PROMISES = ("promise_level", "promise_tick", "promise_warn", "promise_rule", "proving_minutes")
HOLIDAYS = ("holidays_of",)
COLLECTING = (
    "reminder_hours", "missed_notes", "collection_days", "review_days", "pass_days", "hold_hours", "code_above",
)  # fmt: skip


@pages.get("/settings")
def show() -> Response:
    """Everything the shop sets for itself. For somebody to keep, `at_once` fills a capacity into every row of hours,
    and `supplier` the habits of that one into its form.
    """
    return page(at_once=_at_once())


def _at_once() -> int | None:
    """How many people at once the page about the capacity suggests; None for anything that cannot be meant."""
    text = request.args.get("at_once", "")
    return int(text) if text.isascii() and text.isdigit() and 0 < len(text) < 3 else None


def page(
    *, errors: list[Problem] | None = None, status: int = 200, at_once: int | None = None,
    would_hit: d.Line | None = None, **typed: Any,
) -> Response:  # fmt: skip
    seen, speak, chosen = view(ctx(), current_actor()), say(), request.args.get("supplier", "")
    stored = {
        "shop": {name: getattr(seen.shop, name) for name in (*SHOP, "zone")},
        "hours": [says.stored_row(i, row) for i, (_, row) in enumerate(seen.hours, 1)],
        "pickup": {name: str(getattr(seen.shop, name)) for name in PICKUP},
        "telling": {name: str(getattr(seen.shop, name)) for name in TELLING},
        "collecting": {name: says.typed(getattr(seen.shop, name)) for name in COLLECTING},
        "promises": {name: str(getattr(seen.shop, name)) for name in PROMISES},
        "away": dict.fromkeys(("id", "from_day", "from_time", "until_day", "until_time"), ""),
        "bell": {"id": "", "email": "", "phone": "", "by": ""},
        "special": {"day": "", "opens": "", "closes": "", "capacity": "1", "reason": ""},
        "holidays": {name: getattr(seen.shop, name) for name in HOLIDAYS},
        "person": {"name": "", "role": "counter"},
        "feed": {"name": ""},
        "supplier": supplier_form.form_of(next((s for s in seen.suppliers if s.id == chosen), None)),
        "keeping": {},
    }
    shown: dict[str, Any] = {
        name: _over(value, typed[name]) if name in typed else value for name, value in stored.items()
    }
    if at_once is not None:
        shown["hours"] = [says.with_capacity(row, at_once) for row in shown["hours"]]
    shown["hours"] = [*shown["hours"], says.empty_row(len(shown["hours"]) + 1)]
    return render_page(
        "settings.html", here="settings", status=status, errors=errors,
        may_change=may(current_actor().role, "settings"), may_report=may(current_actor().role, "report"),
        at_once="" if at_once is None else str(at_once),
        weekdays=[{"code": str(i), "label": name} for i, name in enumerate(WEEK)],
        closed=[says.closed(one, speak) for one in seen.days], would_hit=would_hit,
        holiday_list=[says.holiday(one, speak) for one in seen.holidays], holidays_silent=seen.holidays_silent,
        people=says.people(seen), promise_ticks=says.TICKS, promise_rules=says.RULES,
        roles=[{"code": code, "label": ROLES[code]} for code in STAFF_ROLES],
        rings_by=[{"code": code, "label": d.words()(f"rings_by.{code}")} for code in RINGS_BY if code],
        feeds=[says.feed(one, speak) for one in seen.feeds], feed_made=carry.take("feed"),
        suppliers=[supplier_form.line(one) for one in seen.suppliers],
        retention=keep_says.part(seen, shown.pop("keeping")),
        **shown,
    )  # fmt: skip


def _over(stored: Any, typed: Any) -> Any:
    return {**stored, **typed} if isinstance(stored, dict) else typed


def change(do: Callable[[], object], said: str | Callable[[], str], *, prefix: str, named: dict[str, str] | None = None,
           hours_change: bool = False, **typed: Any) -> Response:  # fmt: skip
    """Carries a change out, or shows the page again with the fields of its form named and everything typed.

    `said` may be made once the change is done. With `hours_change`: one that hits pickups is shown before it is kept,
    and leads to their list afterwards.
    """
    try:
        do()
    except WouldHit as error:
        return page(status=409, would_hit=says.would_hit(error, say()), **typed)
    except NotifyError as error:
        known = named or {}
        errors = [
            {**one, "field": known.get(one["field"], f"{prefix}-{one['field']}" if one["field"] else "")}
            for one in d.problems(error)
        ]
        return page(errors=errors, status=422, **typed)
    said = said if isinstance(said, str) else said()
    if hours_change and count_hits(ctx(), current_actor()):
        return redirect_with("/pickups/hit", said)
    return redirect_with("/settings", said)


@pages.post("/settings/shop")
def shop() -> Response:
    """Name, phone, e-mail, region, address."""
    typed = {name: request.form.get(name, "") for name in SHOP}
    return change(
        lambda: set_up.change_settings(ctx(), current_actor(), typed), "The shop is kept.", prefix="shop", shop=typed
    )


@pages.post("/settings/staff")
def people() -> Response:
    """Takes somebody on, or notes that somebody has left."""
    form = request.form
    if form.get("leave"):
        return change(lambda: staff.change_staff(ctx(), current_actor(), form["leave"], active=False,
                                                 drop_copies=services().drop_copies),
                      "They can no longer sign in.", prefix="staff")  # fmt: skip
    typed = {"name": form.get("name", ""), "role": form.get("role", "")}
    secrets = {name: form.get(name, "") for name in ("password", "pin")}
    return change(
        lambda: staff.add_staff(ctx(), current_actor(), **typed, **secrets),
        f"{typed['name'].strip()[:80]} can sign in now.", prefix="staff", person=typed,
    )  # fmt: skip


@pages.post("/settings/bell")
def bell() -> Response:
    """Where the shop's bell rings for one person: their own to set, and the owner's; or erases it."""
    form = request.form
    if form.get("erase"):
        return change(lambda: staff_bell.forget_bell(ctx(), current_actor(), form["erase"],
                                                     drop_copies=services().drop_copies),
                      "Where the bell rang is erased.", prefix="bell")  # fmt: skip
    typed = {name: form.get(name, "") for name in ("email", "phone", "by")}
    # An empty field leaves what is kept, which the page shows masked only.
    given: dict[str, Any] = {name: text for name, text in typed.items() if text.strip() or name == "by"}
    who = form.get("id", "")
    return change(lambda: staff_bell.set_bell(ctx(), current_actor(), who, **given), "The bell is set.",
                  prefix=f"bell-{who}", bell={"id": who, **typed})  # fmt: skip


@pages.post("/settings/telling")
def telling() -> Response:
    """The shop's own bell number, when the messages page alarms, what a text costs, when one asks afterwards."""
    typed = {name: request.form.get(name, "") for name in TELLING}
    region = view(ctx(), current_actor()).shop.region  # how a number without a country is meant
    return change(lambda: set_up.change_settings(ctx(), current_actor(), {**typed, "region": region}),
                  "Kept.", prefix="telling", telling=typed)  # fmt: skip


@pages.post("/settings/collecting")
def collecting() -> Response:
    """Reminders of pickups, what is on the shelf too long, passes, and when staff or a code check who collects."""
    typed = {name: request.form[name] for name in COLLECTING if name in request.form}  # what is not sent stays
    return change(lambda: set_up.change_settings(ctx(), current_actor(), typed), "Kept.", prefix="collecting",
                  collecting=typed)  # fmt: skip


@pages.post("/settings/feeds")
def calendars() -> Response:
    """Makes a secret address for the shop's own calendar, which the next page shows once, or revokes one."""
    form = request.form
    if form.get("revoke"):
        return change(lambda: feeds.revoke_feed(ctx(), current_actor(), form["revoke"]),
                      "That address answers no more.", prefix="feed")  # fmt: skip
    typed = {"name": form.get("name", "")}
    return change(lambda: _make_feed(typed["name"]), "", prefix="feed", feed=typed)


def _make_feed(name: str) -> None:
    made = feeds.make_feed(ctx(), current_actor(), name)
    carry.put("feed", {"name": made.name, "path": made.path, "link": made.link, "webcal": made.webcal})


@pages.post("/settings/suppliers")
def suppliers() -> Response:
    """Adds or changes a supplier, or drops one that no part names."""
    form = request.form
    if form.get("drop"):
        return change(lambda: set_up.drop_supplier(ctx(), current_actor(), form["drop"]),
                      "The supplier is gone from the list.", prefix="supplier", named={"supplier": ""})  # fmt: skip
    typed = supplier_form.typed_in(form)
    return change(lambda: supplier_form.keep(typed), "The supplier is kept.", prefix="supplier",
                  named={"supplier": "supplier-name"}, supplier=typed)  # fmt: skip
