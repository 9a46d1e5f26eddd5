"""The day sheet with 200 open tickets: an unchanged poll, and the whole page, each beside a bare route of its own.

The poll is what an open sheet asks every 1.5 seconds: its own session, its own tag. Once a minute the sheet is made
anew for it, to see whether time alone has changed a sentence; `more.share_of_a_core` has that in it.
"""

from __future__ import annotations

import json
import random
import tempfile
from contextlib import ExitStack
from datetime import time, timedelta
from pathlib import Path
from typing import Any

from flask import Flask, template_rendered

from notify.flows import forecast, moves, parts, promises, questions, set_up
from notify.flows.check_in_form import DeviceForm
from notify.flows.staff import ABSOLUTE, session_hash
from notify.store import migrate, staff
from notify.web.app import create_app
from notify.web.sessions import NAME, cookie_name
from tests.bench.line import Figure, alternate, compare, cpu
from tests.bench.processes import Helper, cpu_seconds, helper
from tests.parts.clock import FakeClock
from tests.parts.house import House, make_house

TICKETS, POLLS_A_MINUTE = 200, 40
SECRET = "Q" * 32
BARE_304 = "bare Flask route on the same waitress: a 304 to whoever sends a tag; no session, no guards, no database"
BARE_PAGE = (
    "bare Flask route on the same waitress: one SELECT of the shop's tickets through SQLAlchemy Core on the same file, "
    "then the product's own template with every word ready in memory, so the same octets; no vault, no session"
)


def figures(*, seconds: float, rounds: int) -> list[Figure]:
    """`day_sheet_unchanged` and `day_sheet`; each side is asked for `seconds` a round, over one connection each."""
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name, ExitStack() as stack:
        folder = Path(name)
        url = f"sqlite:///{folder / 'shelfbell.db'}"
        migrate.upgrade(url)
        house = make_house(folder, url, clock=FakeClock())
        fill(house)
        cookie = sign_in(house)
        says = folder / "says.json"
        says.write_text(json.dumps(said(house, cookie)), "utf-8")
        templates, shop_id = str(house.services.templates / "pages"), house.shop_id
        house.services.close()
        (config,) = (folder / "house").glob("*.toml")
        client = stack.enter_context(helper("tests.bench.client"))
        ours = stack.enter_context(helper("tests.bench.web_side", "ours", str(config), "0"))
        theirs = stack.enter_context(helper("tests.bench.web_side", "sheet", url, shop_id, templates, str(says)))
        asking = {"Cookie": cookie, "Shelfbell-By-Itself": "1"}
        return [
            _unchanged(client, ours, theirs, asking, seconds=seconds, rounds=rounds),
            _whole(client, ours, theirs, asking, seconds=seconds, rounds=rounds),
        ]


def fill(house: House) -> None:
    """A shop with 200 devices: half of them in line with a promise, the rest as they come; forecasts made."""
    ctx, actor, chance = house.ctx, house.actor(), random.Random(1)
    set_up.put_supplier(ctx, actor, name="Lantern Spares", cutoff=time(17), delivers_at=time(10), days=2)
    for n in range(TICKETS):
        device = DeviceForm(f"Kestrel radio {n}", device_class="radio", fault="no sound at all", price_agreed="30",
                            shelf=f"B{n % 9}")  # fmt: skip
        ticket = house.check_in(device, name=f"Ines Farrow {n}", email=f"ines{n}@example.org").ticket_ids[0]
        _put(house, ticket, n % 10, chance)
        house.clock.advance(1)
    house.deliver(after=91)
    forecast.remake(ctx, house.system())


def _put(house: House, ticket: str, kind: int, chance: random.Random) -> None:
    ctx, actor = house.ctx, house.actor()
    if kind < 5:
        moves.move(ctx, actor, ticket, "in_line")
        promises.promise(ctx, actor, ticket, ctx.clock() + timedelta(hours=chance.randint(4, 200)))
    elif kind < 7:
        parts.need(ctx, actor, ticket, name="Coil", supplier="Lantern Spares")
    elif kind == 7:
        questions.ask(ctx, actor, ticket, kind="price", wording="45?", price="45")
    elif kind == 8:
        for phase in ("in_line", "on_bench", "on_shelf"):
            moves.move(ctx, actor, ticket, phase, outcome="repaired" if phase == "on_shelf" else "")


def sign_in(house: House) -> str:
    """The owner's cookie as the browser sends it."""
    now = house.clock()
    with house.ctx.db.write(house.shop_id) as unit:
        person = staff.add_staff(unit, name="Ada Quill", role="owner", password_hash="", pin_hash="", at=now)
        staff.add_session(unit, session_hash=session_hash(SECRET), staff_id=person, at=now, expires_at=now + ABSOLUTE)
    return f"{cookie_name(NAME, house.services.settings.web)}={house.shop_id}.{SECRET}"


def said(house: House, cookie: str) -> dict[str, Any]:
    """Everything that the template is given, as the view made it."""
    got: list[dict[str, Any]] = []

    def keep(_app: Flask, *, context: dict[str, Any], **_: Any) -> None:
        got.append({key: value for key, value in context.items() if _is_plain(value)})

    app = create_app(house.services)
    with template_rendered.connected_to(keep, app):
        browser = app.test_client(use_cookies=False)
        answer = browser.get("/", base_url="https://bell.example.org", headers={"Cookie": cookie})
    assert answer.status_code == 200, answer.status
    return got[0]


def _is_plain(value: Any) -> bool:
    try:
        json.dumps(value)
    except TypeError:
        return False
    return True


def _unchanged(
    client: Helper, ours: Helper, theirs: Helper, asking: dict[str, str], *, seconds: float, rounds: int
) -> Figure:
    tags = {"ours": _tag(ours, "/", asking), "theirs": 'W/"same"'}
    more: dict[str, Any] = {"tickets": TICKETS, "connections": 1}
    figure = _figure(
        "day_sheet_unchanged", 1 / 1.5, BARE_304, client, (ours, theirs), ("/", "/same"),
        ({**asking, "If-None-Match": tags["ours"]}, {"If-None-Match": tags["theirs"]}), status=304, seconds=seconds,
        rounds=rounds, more=more,
    )  # fmt: skip
    return figure


def _whole(
    client: Helper, ours: Helper, theirs: Helper, asking: dict[str, str], *, seconds: float, rounds: int
) -> Figure:
    return _figure(
        "day_sheet", 0.5, BARE_PAGE, client, (ours, theirs), ("/", "/sheet"), (asking, {}), status=200,
        seconds=seconds, rounds=rounds, more={"tickets": TICKETS, "connections": 1},
    )  # fmt: skip


def _figure(
    name: str, goal: float, against: str, client: Helper, sides: tuple[Helper, Helper], paths: tuple[str, str],
    headers: tuple[dict[str, str], dict[str, str]], *, status: int, seconds: float, rounds: int, more: dict[str, Any],
) -> Figure:  # fmt: skip
    done, octets, used = [0, 0], [0, 0], [0.0, 0.0]

    def ask(side: int) -> float:
        before = cpu_seconds(sides[side].pid)
        got = client.ask(_order(sides[side], paths[side], headers[side], status, seconds))
        assert got["requests"] and not got["bad"], (name, side, got)
        used[side] += cpu_seconds(sides[side].pid) - before
        done[side] += got["requests"]
        octets[side] += got["octets"]
        return float(got["requests"] / got["seconds"])

    pairs = alternate(rounds, lambda _: ask(0), lambda _: ask(1))
    ratio, mine, other = compare(pairs, unit="requests/s")
    busy = [used[side] / done[side] for side in (0, 1)]
    sizes = {"ours": octets[0] // done[0], "theirs": octets[1] // done[1]}
    return Figure(name, ratio, goal, against, done[0], mine, other,
                  more={**more, "octets": sizes, **cpu(busy[0], busy[1], n=1)})  # fmt: skip


def _order(side: Helper, path: str, headers: dict[str, str], status: int, seconds: float) -> str:
    return json.dumps({"port": int(side.first), "paths": [path], "headers": headers, "status": status,
                       "seconds": seconds, "connections": 1})  # fmt: skip


def _tag(side: Helper, path: str, headers: dict[str, str]) -> str:
    import http.client

    line = http.client.HTTPConnection("127.0.0.1", int(side.first), timeout=30)
    line.request("GET", path, headers=headers)
    answer = line.getresponse()
    answer.read()
    line.close()
    return str(answer.headers["ETag"])
