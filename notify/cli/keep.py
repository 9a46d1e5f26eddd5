"""How long which kind of data is kept: the rules, and how one is changed."""

from __future__ import annotations

from datetime import datetime

import click

from notify.cli.desk import Desk, Group, pass_desk, table
from notify.core.retention import CLOCKS, DATA_CLASSES, EXCEPTIONS, NOT_ADVICE, Rule
from notify.flows import keep_rules
from notify.render.keeping_says import counted
from notify.render.words import Language

_DAY = click.DateTime(formats=["%Y-%m-%d"])
_RULED = [code for code, one in DATA_CLASSES.items() if one.is_ruled]


@click.group("keep", cls=Group)
def keep() -> None:
    """How long which kind of data is kept. Not legal advice: check your local law."""


@keep.command("list")
@pass_desk
def list_(desk: Desk) -> None:
    """Every kind of data with its rule: how long, from when it counts, what keeps it longer, and the source."""
    found = keep_rules.list_rules(desk.ctx, desk.actor)
    lines, words = [], desk.services.words.get("en")
    for one in found:
        now, about = one.now, DATA_CLASSES[one.now.data_class]
        lines += [
            f"{now.data_class}  {counted(now, words)} ({now.period}): {about.what}",
            f"  counts from {about.counts_from}",
            *([f"  longer while: {', '.join(EXCEPTIONS[code] for code in now.exceptions)}"] if now.exceptions else []),
            f"  source: {now.source}; checked on {now.checked_on or 'never'}",
            *_coming(one.to_come, words),
        ]  # fmt: skip
    others = [
        (code, f"setting {one.setting}" if one.setting else "no end", one.why)
        for code, one in DATA_CLASSES.items() if not one.is_ruled
    ]  # fmt: skip
    desk.show(found, *lines, *table(others), NOT_ADVICE)


def _coming(rule: Rule | None, words: Language) -> list[str]:
    return [f"  from {rule.valid_from}: {counted(rule, words)} ({rule.period})"] if rule else []


@keep.command("set")
@click.argument("data_class", type=click.Choice(_RULED), metavar="KIND")
@click.argument("period", metavar="PERIOD", default="")
@click.option("--clock", default="", help=f"From when it counts: {', '.join(CLOCKS)}:MM-DD (its last day).")
@click.option("--longer-while", "exceptions", default=None, help="What keeps it longer, as unpaid,uncollected.")
@click.option("--source", default="", help="Where the period comes from.")
@click.option("--checked-on", type=_DAY, default=None, help="The day on which you read it.")
@click.option(
    "--from", "valid_from", type=_DAY, default=None, help="A shorter one counts from tomorrow at the earliest."
)
@click.option("--dry-run", is_flag=True, help="Only say what it would do.")
@click.option("--yes", is_flag=True, help="Do not ask when more people would be forgotten.")
@pass_desk
def set_(
    desk: Desk, data_class: str, period: str, clock: str, exceptions: str | None, source: str,
    checked_on: datetime | None, valid_from: datetime | None, dry_run: bool, yes: bool,
) -> None:  # fmt: skip
    """Change the rule of KIND to PERIOD, as in: shelfbell keep set contact_card P60D."""
    named = None if exceptions is None else [part.strip() for part in exceptions.split(",") if part.strip()]

    def change(*, preview: bool) -> keep_rules.Changed:
        return keep_rules.change_rule(
            desk.ctx, desk.actor, data_class, period=period, clock=clock, exceptions=named, source=source,
            checked_on=checked_on.date() if checked_on else None,
            valid_from=valid_from.date() if valid_from else None, preview=preview,
        )  # fmt: skip

    told = change(preview=True)
    if not dry_run:
        if told.due_more and not yes:
            click.echo(_says(told, desk.services.words.get("en")), err=True)
            click.confirm("Keep this rule?", abort=True, err=True)
        told = change(preview=False)
    desk.show(told, _says(told, desk.services.words.get("en")), NOT_ADVICE)


def _says(told: keep_rules.Changed, words: Language) -> str:
    rule, verb = told.rule, "counts" if told.is_kept else "would count"
    people = f" In its first night {told.due} people go, {told.due_more} more than by the rule of today." * bool(
        told.due
    )
    return f"{rule.data_class}: {counted(rule, words)} ({rule.period}) {verb} from {rule.valid_from}.{people}"
