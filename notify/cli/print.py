"""Print a claim ticket or a device label into a PDF file."""

from __future__ import annotations

from pathlib import Path

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.cli.files import write_private
from notify.flows import view_ticket_print
from notify.render.claim_ticket import PAPERS, ticket_pdf
from notify.render.labels import label_pdf
from notify.render.paper import LABELS

_PAPERS = (*PAPERS, *LABELS)


@click.command("print", cls=Command)
@click.argument("number")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--paper", type=click.Choice(_PAPERS), default="roll80", show_default=True,
              help="Rolls and a6 are the claim ticket, labels go on the device.")  # fmt: skip
@click.option("--overwrite", is_flag=True)
@pass_desk
def print_(desk: Desk, number: str, file: Path, paper: str, overwrite: bool) -> None:
    """Write the claim ticket (or the device's label) of NUMBER into FILE as a PDF.

    The claim ticket carries the secret code that releases the device: the file is readable by you only.
    """
    data = _pdf(desk, desk.meant(number).ticket_id, paper)
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
