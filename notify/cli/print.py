"""Print a claim ticket or a device label, a pad of blank claim tickets, or a day's sheet into a PDF file."""

from __future__ import annotations

from pathlib import Path

import click

from notify.cli.desk import Command, Desk, Group, pass_desk
from notify.cli.files import need_free, write_private
from notify.flows import pads, paper_day, view_ticket_print
from notify.render.claim_ticket import PAPERS, ticket_pdf
from notify.render.labels import label_pdf
from notify.render.pad import pad_pdf
from notify.render.paper import LABELS, PAD_PAPERS
from notify.render.words import Words

_PAPERS = (*PAPERS, *LABELS)
_FILE = click.Path(path_type=Path, dir_okay=False)


class _Prints(Group):
    """What is no other command here is a claim number: `shelfbell print NUMBER FILE`. No number spells a word."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0] not in self.commands and args[0] != "--help":
            args = ["ticket", *args]
        return super().parse_args(ctx, args)


@click.group("print", cls=_Prints)
def print_() -> None:
    """Write what is to be printed into a PDF file: `shelfbell print NUMBER FILE` for a ticket that is here."""


@print_.command("ticket", cls=Command)
@click.argument("number")
@click.argument("file", type=_FILE)
@click.option("--paper", type=click.Choice(_PAPERS), default="roll80", show_default=True,
              help="Rolls and a6 are the claim ticket, labels go on the device.")  # fmt: skip
@click.option("--overwrite", is_flag=True)
@pass_desk
def ticket(desk: Desk, number: str, file: Path, paper: str, overwrite: bool) -> None:
    """Write the claim ticket (or the device's label) of NUMBER into FILE as a PDF.

    The claim ticket carries the secret code that releases the device: the file is readable by you only.
    """
    _write(desk, file, _pdf(desk, desk.meant(number).ticket_id, paper), paper, overwrite=overwrite)


def _write(desk: Desk, file: Path, data: bytes, paper: str, *, overwrite: bool) -> None:
    write_private(file, data, overwrite=overwrite)
    desk.show({"file": str(file), "bytes": len(data)}, f"Written: {file} ({paper}).")


def _pdf(desk: Desk, ticket_id: str, paper: str) -> bytes:
    made_at, templates = desk.ctx.clock(), desk.services.templates
    if paper in LABELS:
        label, language = view_ticket_print.device_label(desk.ctx, desk.actor, ticket_id)
        return label_pdf(label, paper=paper, language=language, templates=templates, made_at=made_at)
    ticket = view_ticket_print.claim_ticket(
        desk.ctx, desk.actor, ticket_id, words=desk.services.words.get, templates=templates
    )
    return ticket_pdf(ticket, paper=paper, templates=templates, made_at=made_at)


@print_.command("pad")
@click.argument("file", type=_FILE)
@click.option("--tickets", default=20, show_default=True, help="How many.")
@click.option("--paper", type=click.Choice([*PAD_PAPERS]), default="a4", show_default=True)
@click.option(
    "--again", is_flag=True, help="Print the blank ones of the newest pad once more, and take no new numbers."
)
@click.option("--overwrite", is_flag=True)
@pass_desk
def pad(desk: Desk, file: Path, tickets: int, paper: str, again: bool, overwrite: bool) -> None:
    """Write a pad of blank claim tickets into FILE, for days without power.

    Each has its number and its secret code already: keep the pad as you keep money. Enter what was taken in with
    `shelfbell check-in --pad NUMBER --taken-in TIME`.
    """
    need_free(file, overwrite=overwrite)
    pad_id = pads.newest(desk.ctx, desk.actor) if again else pads.make_pad(desk.ctx, desk.actor, tickets=tickets)
    pages, language = pads.pages_of(desk.ctx, desk.actor, pad_id)
    data = pad_pdf(pages, paper=paper, words=desk.services.words.get(language), templates=desk.services.templates,
                   made_at=desk.ctx.clock())  # fmt: skip
    write_private(file, data, overwrite=overwrite)
    desk.show({"pad": pad_id, "file": str(file), "tickets": len(pages), "numbers": [one.number for one in pages]},
              f"Written: {file}, {len(pages)} blank claim tickets ({paper}).",
              "If it is lost: shelfbell pad void --pad " + pad_id[:8])  # fmt: skip


@print_.command("day-sheet")
@click.argument("file", type=_FILE)
@click.option("--day", default="", help="today, tomorrow or a date; the next day the shop is open if left out.")
@click.option("--overwrite", is_flag=True)
@pass_desk
def day_sheet(desk: Desk, file: Path, day: str, overwrite: bool) -> None:
    """Write what a day without machines needs into FILE: pickups, shelf, bench, boxes, people to call.

    It names customers and their numbers: the file is readable by you only, and the paper is for the shredder.
    """
    today = desk.ctx.clock().astimezone(desk.zone).date()
    chosen = paper_day.parse_day(day, today=today) if day else paper_day.next_open_day(desk.ctx, desk.actor)
    templates = desk.services.templates
    words = Words(templates / "words", prefix="desk.").get("en")
    data = paper_day.day_sheet_pdf(desk.ctx, desk.actor, chosen, words=words, templates=templates)
    write_private(file, data, overwrite=overwrite)
    desk.show({"file": str(file), "day": chosen, "bytes": len(data)}, f"Written: {file} (the day sheet of {chosen}).")
