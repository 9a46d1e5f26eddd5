"""What every command has at hand: the installation, who acts, which ticket is meant, and where to print."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, is_dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from enum import Enum
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from notify.config.load import find, load
from notify.config.settings import Settings
from notify.core.actors import Actor
from notify.core.errors import Invalid
from notify.core.late_entry import read_past
from notify.flows.context import Context
from notify.flows.view_desk import view_shop
from notify.flows.view_lookup import Meant, acting_staff, find_ticket
from notify.wiring import Services, build

PAGE = click.IntRange(1, 10_000)  # of a list


@dataclass(slots=True)
class Options:
    """The options that every command takes, before or after its name."""

    config: str = ""
    as_name: str = ""
    shop: str = ""
    json: bool = False


class Desk:
    """Opens the installation when a command first needs it; `close` gives it back."""

    def __init__(self, options: Options, environment: Mapping[str, str], here: Path) -> None:
        self.options = options
        self._environment, self.here = environment, here
        self._services: Services | None = None
        self._actor: Actor | None = None
        self._zone: ZoneInfo | None = None
        self.named: dict[str, str] = {}  # what the command takes -> its option as it is typed

    @property
    def config_file(self) -> Path:
        """The settings file that counts: --config, the environment, or config.toml here."""
        if self.options.config:
            return self.here / self.options.config
        return find(self._environment, here=self.here)

    @property
    def settings(self) -> Settings:
        """The settings; raises Misconfigured with everything that is wrong."""
        return load(self.config_file)

    @property
    def services(self) -> Services:
        """The wired installation."""
        if self._services is None:
            self._services = build(self.settings)
        return self._services

    @property
    def ctx(self) -> Context:
        """What flows are handed."""
        return self.services.context

    @property
    def actor(self) -> Actor:
        """Who acts: --as, or the only owner. Whoever may run the command is trusted; the role still counts."""
        if self._actor is None:
            self._actor = acting_staff(self.ctx, self.shop_id, self.options.as_name)
        return self._actor

    @property
    def shop_id(self) -> str:
        """The shop: the only one, or the one that --shop names by its name, its identifier or the beginning of it."""
        every, asked = self.services.shop_ids(), self.options.shop.strip()
        if not every:
            raise Invalid("There is no shop here yet", "Run `shelfbell init` to make one.", field="shop")
        found = self._named(every, asked) or [one for one in every if one.startswith(asked)]
        if len(found) == 1:
            return found[0]
        told = ", ".join(f"{view_shop(self.ctx, one).name} ({one[:8]})" for one in every)
        what = "There are several shops here" if found else f"No shop here is called {asked[:80]!r}"
        raise Invalid(what, f"Add --shop with one of: {told}.", field="shop")

    def _named(self, every: Iterable[str], asked: str) -> list[str]:
        wanted = asked.casefold()
        return [one for one in every if wanted and view_shop(self.ctx, one).name.strip().casefold() == wanted]

    @property
    def zone(self) -> ZoneInfo:
        """The shop's zone."""
        if self._zone is None:
            self._zone = ZoneInfo(view_shop(self.ctx, self.shop_id).zone)
        return self._zone

    def when(self, moment: datetime | None) -> str:
        """ "Wed 25 Nov 14:30" by the shop's clock; "-" for none."""
        return moment.astimezone(self.zone).strftime("%a %d %b %H:%M") if moment else "-"

    def dated(self, moment: datetime) -> str:
        """ "Wed 25 Nov 2026 14:30" by the shop's clock, for what may be years old."""
        return moment.astimezone(self.zone).strftime("%a %d %b %Y %H:%M")

    def day(self, moment: datetime) -> str:
        """ "2026-11-25" by the shop's clock."""
        return str(moment.astimezone(self.zone).date())

    def instant(self, text: str, *, field: str) -> datetime:
        """The instant of a typed time, by the shop's clock when it names no zone; raises Invalid."""
        try:
            moment = datetime.fromisoformat(text.strip())
        except ValueError:
            raise Invalid(f"{text[:40]!r} is no time", "Write it as 2026-11-26T11:30.", field=field) from None
        return moment if moment.tzinfo else moment.replace(tzinfo=self.zone)

    def past(self, text: str, *, field: str = "at") -> datetime | None:
        """The instant of something entered later than it happened; None when left out; raises Invalid."""
        return read_past(text, zone_name=self.zone.key, now=self.ctx.clock(), field=field) if text else None

    def meant(self, number: str) -> Meant:
        """The ticket with this claim number; raises Invalid or NotFound."""
        return find_ticket(self.ctx, self.actor, number)

    def close(self) -> None:
        """Gives connections back."""
        if self._services is not None:
            self._services.close()

    def show(self, data: Any, *lines: str) -> None:
        """Prints `data` as JSON if that was asked for, else the lines for people."""
        if self.options.json:
            click.echo(as_json(data))
            return
        for line in lines:
            click.echo(line)


def as_json(data: Any) -> str:
    """JSON with a stable order of keys; times as ISO 8601, spans in seconds, money as text, dataclasses as objects."""
    return json.dumps(data, default=_plain, ensure_ascii=False, indent=2)


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, Decimal):
        return str(value)  # never a float
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Path):
        return str(value)
    if isinstance(value, set | frozenset | tuple):
        return list(value)
    raise TypeError(f"{type(value).__name__} has no JSON form")


def table(rows: Iterable[Iterable[object]], *, head: Iterable[str] = ()) -> list[str]:
    """Rows as aligned columns; a heading above when there is any row."""
    whole = [[str(cell) for cell in row] for row in rows]
    if whole and head:
        whole.insert(0, [word.upper() for word in head])
    widths = [
        max((len(row[i]) for row in whole if i < len(row)), default=0) for i in range(max(map(len, whole), default=0))
    ]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)).rstrip() for row in whole]


def _note(name: str) -> Callable[..., Any]:
    """A callback that remembers a common option, wherever in the line it stood."""

    def remember(context: click.Context, _parameter: click.Parameter, value: Any) -> Any:
        options = context.find_object(Desk)
        if options is not None and value:
            setattr(options.options, name, value)
        return value

    return remember


def _common() -> list[click.Option]:
    return [
        click.Option(["--config"], metavar="FILE", expose_value=False, callback=_note("config"), is_eager=True,
                     help="The settings file (else SHELFBELL_CONFIG, else config.toml here)."),
        click.Option(["--as", "as_name"], metavar="NAME", expose_value=False, callback=_note("as_name"), is_eager=True,
                     help="Who acts: a name from `shelfbell staff list`; the only owner if left out."),
        click.Option(["--shop"], metavar="NAME", expose_value=False, callback=_note("shop"), is_eager=True,
                     help="Which shop, where there are several."),
        click.Option(["--json"], is_flag=True, expose_value=False, callback=_note("json"), is_eager=True,
                     help="Answer in JSON, errors too."),
    ]  # fmt: skip


class Command(click.Command):
    """A command that also takes the common options."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.params = [*self.params, *_common()]

    def invoke(self, ctx: click.Context) -> Any:
        """Does it; the desk knows its options, so that a refusal can name the one to use."""
        desk = ctx.find_object(Desk)
        if desk is not None:
            desk.named = {one.name or "": one.opts[-1] for one in self.params if isinstance(one, click.Option)}
        return super().invoke(ctx)


class Group(click.Group):
    """A group whose commands take the common options."""

    command_class = Command

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.params = [*self.params, *_common()]


Group.group_class = Group
pass_desk = click.make_pass_decorator(Desk)
