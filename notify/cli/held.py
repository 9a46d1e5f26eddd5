"""What is held about people as a command, and the record of processing as a file."""

from __future__ import annotations

from pathlib import Path

import click

from notify.cli.desk import Command, Desk, pass_desk, table
from notify.cli.files import write_private
from notify.core.languages import LANGUAGES
from notify.flows import processing, view_held
from notify.render.processing_says import record_facts


@click.command("held", cls=Command)
@pass_desk
def held(desk: Desk) -> None:
    """What is held about people: how much and how old, what goes next, who stays and why, and the proofs.

    Figures, codes and claim numbers only; nobody is named. The page /held shows the same with pictures.
    """
    from notify.web.counter import held_says as says  # its pages come with it: not for the other commands

    seen = view_held.view(desk.ctx, desk.actor, desk.services.settings)
    stays = [(one.number, says.stays(one)) for one in seen.kept]
    asked = [(one.number, says.asked(one.kind, one.days_left)) for one in seen.asked]
    desk.show(
        seen, says.finding(seen), "",
        *table(says.ages(seen), head=("kind of data", "all", *says.AGES)), "",
        *table(says.next_rows(seen.ahead), head=("when", "people")), "",
        *table(stays, head=("stays", "why")), *([""] if stays else []),
        *table(says.consent_rows(seen), head=("purpose", "by", "yes", "no")), says.suppressed(seen), "",
        *table(asked, head=("asked", "what")), *([""] if asked else []),
        *table(says.keys(seen), head=("key", "in use for")),
    )  # fmt: skip


@click.command("record", cls=Command)
@click.option("--language", type=click.Choice(list(LANGUAGES)), default="en", show_default=True)
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The file to write (HTML).")
@click.option("--overwrite", is_flag=True, help="Also when the file is there.")
@pass_desk
def record(desk: Desk, language: str, out: Path, overwrite: bool) -> None:
    """The record of processing (GDPR art. 30) as a page to print, made from the settings.

    What only you can say is asked for in it: `shelfbell shop set officer="…"`, and joint_controller, representative,
    recipients, outside, security. Not legal advice.
    """
    known = processing.record(desk.ctx, desk.actor, desk.services.settings)
    words = desk.services.page_words.get(language)
    said = desk.services.words.get(language)
    body = desk.services.words.record(language, record_facts(known, words, said))
    write_private(desk.here / out, _whole(language, words["record.title"], body), overwrite=overwrite)
    desk.show({"file": str(out), "language": language}, f"Written to {out}.")


def _whole(language: str, title: str, body: str) -> bytes:
    head = f'<!doctype html>\n<html lang="{language}">\n<meta charset="utf-8">\n<title>{title}</title>\n'
    return f"{head}<body>\n<h1>{title}</h1>\n{body}</body>\n</html>\n".encode()
