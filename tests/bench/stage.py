"""Messages ready to be delivered, as often as a measurement needs them, without checking the same people in again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import bindparam, text

from notify.channels.base import Channel, Outgoing, Receipt, Verdict, lines_of
from notify.flows import moves
from notify.flows.check_in_form import DeviceForm
from notify.store import migrate
from tests.parts.clock import FakeClock
from tests.parts.house import House, make_house

# The messages that left as if they had never been looked at, or as if their bytes had been kept by a first try.
_ANEW = (
    "update messages set state = 'waiting', reason = '', ended_at = null, attempts = 0, delivery = '', "
    "delivery_at = null, composed_at = null, message_id = null, bytes_sealed = null, sentence_sealed = null "
    "where notice = 'ready' and state = 'sent'"
)
_AGAIN = (
    "update messages set state = 'waiting', reason = 'try_later', ended_at = null, delivery = '', delivery_at = null "
    "where notice = 'ready' and state = 'sent'"
)


class Way:
    """A channel that is one of several, by the name it has just now."""

    def __init__(self, ways: Mapping[str, Channel]) -> None:
        self.ways, self.name = ways, next(iter(ways))

    @property
    def lines(self) -> int:
        """See channels.base.lines_of."""
        return lines_of(self.ways[self.name])

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send."""
        return self.ways[self.name].send(outgoing)

    def close(self) -> None:
        """Closes all of them."""
        for way in self.ways.values():
            way.close()  # type: ignore[attr-defined]


class Nothing:
    """Takes everything and does nothing."""

    def send(self, outgoing: Outgoing, /) -> Receipt:
        """See Channel.send."""
        return Receipt(Verdict.ACCEPTED, "250")

    def close(self) -> None:
        """Nothing to close."""


@contextmanager
def house_on(folder: Path, channel: Any, *, url: str = "") -> Iterator[House]:
    """A wired installation with the product's own pragmas, on SQLite unless `url` says otherwise."""
    url = url or f"sqlite:///{folder / 'shelfbell.db'}"
    migrate.upgrade(url)
    house = make_house(folder, url, clock=FakeClock(), channels={"email": channel})
    try:
        yield house
    finally:
        house.services.close()


def check_in(house: House, n: int) -> tuple[list[str], list[str]]:
    """`n` visits whose device is on the bench, nothing waiting in the outbox: (tickets, visits)."""
    tickets, visits = [], []
    for number in range(n):
        device = DeviceForm("Kestrel pocket radio", device_class="radio", fault="no sound", price_agreed="30")
        done = house.check_in(device, name=f"Ines Farrow {number}", phone="", email=f"ines{number}@example.org")
        tickets.append(done.ticket_ids[0])
        visits.append(done.visit_id)
        for phase in ("in_line", "on_bench"):
            moves.move(house.ctx, house.actor(), done.ticket_ids[0], phase)
    house.deliver(after=91)
    return tickets, visits


def shelve(house: House, tickets: list[str]) -> None:
    """Each device goes on the shelf: one message each."""
    for ticket_id in tickets:
        moves.move(house.ctx, house.actor(), ticket_id, "on_shelf", outcome="repaired")


def stage(house: House, n: int) -> list[str]:
    """`n` messages that left once; the visits they are about. `put_back` makes them wait again."""
    tickets, visits = check_in(house, n)
    shelve(house, tickets)
    house.deliver(after=91)
    return visits


def put_back(house: House, n: int, *, composed: bool, visits: Sequence[str] = ()) -> None:
    """Lets `n` messages wait again, those of `visits` or all; `composed`: with their bytes, as after a failed try."""
    among = text(
        f"{_AGAIN if composed else _ANEW} and visit_id in :visits" if visits else _AGAIN if composed else _ANEW
    )
    if visits:
        among = among.bindparams(bindparam("visits", list(visits), expanding=True))
    with house.ctx.db.write(house.shop_id) as unit:
        assert unit.connection.execute(among).rowcount == n
    house.ctx.db.checkpoint()


def drain(house: House) -> int:
    """Delivers until nothing is due; how many."""
    done = 0
    while claimed := house.services.dispatcher.run_once(house.shop_id):
        done += claimed
    return done
