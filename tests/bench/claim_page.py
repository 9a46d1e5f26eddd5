"""The claim page against a bare route: requests a second over connections that stay open.

Two figures: pages looked at again while nothing about them changed, as people renew them who wait for news, and
pages nobody looked at just before, for which the server is told to hold none.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from notify.flows import moves
from notify.flows.check_in_form import DeviceForm
from notify.store import migrate, tickets
from notify.web.claim.kept import MOST
from tests.bench.line import Figure, alternate, compare, cpu
from tests.bench.processes import Helper, cpu_seconds, helper
from tests.parts.clock import FakeClock
from tests.parts.house import House, make_house

CONNECTIONS = 16
VISITS = 50
BASELINE = (
    "bare Flask route on the same waitress with the same threads: one primary-key SELECT through SQLAlchemy Core "
    "on the same database file, one Jinja page of the same size; no vault, no sessions, no guards, no headers"
)


def figures(*, seconds: float, rounds: int) -> list[Figure]:
    """`claim_page` and `claim_page_first_look`; each side is asked for `seconds` a round.

    The pages of all visits are asked for in turn; half of the devices are ready to be collected.
    """
    with tempfile.TemporaryDirectory(prefix="shelfbell-bench-") as name:
        folder = Path(name)
        url = f"sqlite:///{folder / 'shelfbell.db'}"
        migrate.upgrade(url)
        house = make_house(folder, url, clock=FakeClock())
        claims = prepare(house, VISITS)
        shop_id = house.shop_id
        house.services.close()
        (config,) = (folder / "house").glob("*.toml")
        with (
            helper("tests.bench.client") as client,
            helper("tests.bench.web_side", "ours", str(config), str(MOST)) as again,
            helper("tests.bench.web_side", "ours", str(config), "0") as first,
        ):
            paths = [f"/c/{token}" for _, token in claims]
            size = _size(client, first, paths)
            with helper("tests.bench.web_side", "bare", url, shop_id, str(size)) as theirs:
                bare = [f"/bare/{ticket_id}" for ticket_id, _ in claims]
                return [
                    _measure(name, client, ours, theirs, paths=paths, bare=bare, seconds=seconds, rounds=number)
                    for name, ours, number in (
                        ("claim_page", again, rounds), ("claim_page_first_look", first, (rounds + 1) // 2),
                    )
                ]  # fmt: skip


def prepare(house: House, n: int) -> list[tuple[str, str]]:
    """(ticket, claim secret) of `n` visits: on the bench and ready in turn."""
    out = []
    for number in range(n):
        done = house.check_in(DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound"),
                              email=f"ines{number}@example.org")  # fmt: skip
        for phase in ("in_line", "on_bench"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
        if number % 2:
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], "on_shelf", outcome="repaired")
        with house.read() as unit:
            out.append((done.ticket_ids[0], tickets.get_ticket(unit, done.ticket_ids[0]).token))
    return out


def _size(client: Helper, side: Helper, paths: list[str]) -> int:
    """The mean size of our pages, in octets."""
    for _ in range(60):  # a busy machine may not come round to a first answer at once
        got = client.ask(_order(side, paths, seconds=0.5, connections=1))
        if got["requests"]:
            assert not got["bad"], got
            return int(got["octets"] / got["requests"])
    raise RuntimeError("the server did not answer within half a minute")


def _measure(
    figure: str, client: Helper, ours: Helper, theirs: Helper, *, paths: list[str], bare: list[str], seconds: float,
    rounds: int,
) -> Figure:  # fmt: skip
    done, sizes = {"ours": 0, "theirs": 0}, {"ours": 0, "theirs": 0}
    used = {"ours": 0.0, "theirs": 0.0}

    def ask(name: str, side: Helper, addresses: list[str]) -> float:
        before = cpu_seconds(side.pid)
        got = client.ask(_order(side, addresses, seconds=seconds, connections=CONNECTIONS))
        assert not got["bad"], got
        used[name] += cpu_seconds(side.pid) - before
        done[name] += got["requests"]
        sizes[name] += got["octets"]
        return float(got["requests"] / got["seconds"])

    pairs = alternate(rounds, lambda _: ask("ours", ours, paths), lambda _: ask("theirs", theirs, bare))
    ratio, mine, other = compare(pairs, unit="requests/s")
    busy = {name: used[name] / max(1, done[name]) for name in done}
    more = {
        "connections": CONNECTIONS, "pages": len(paths),
        "octets_a_page": {k: round(sizes[k] / max(1, done[k])) for k in done},
        **cpu(busy["ours"], busy["theirs"], n=1),
    }  # fmt: skip
    return Figure(figure, ratio, 0.5, BASELINE, done["ours"], mine, other, more=more)


def _order(side: Helper, paths: list[str], *, seconds: float, connections: int) -> str:
    return json.dumps({"port": int(side.first), "paths": paths, "seconds": seconds, "connections": connections})
