"""Look at any message as its reader sees it, with invented facts; nothing is sent."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from notify.cli.desk import Command, Desk, pass_desk
from notify.core.errors import Invalid
from notify.core.notices import NOTICES
from notify.flows.view_preview import preview as look
from notify.render.preview import Preview, size_in_words
from notify.render.samples import Variant

WAYS = ("email", "sms", "call")


@click.command("preview", cls=Command)
@click.argument("notice", type=click.Choice(sorted(NOTICES)))
@click.option("--language", default="", help="Its two letters; without it the shop's own.")
@click.option("--channel", type=click.Choice(WAYS), help="Only this way; without it all that the message can take.")
@click.option("--battery", is_flag=True, help="With a swollen battery.")
@click.option("--no-link", is_flag=True, help="As without a public address.")
@click.option("--several", is_flag=True, help="About two devices of one visit.")
@click.option("--html", "html_file", type=click.Path(path_type=Path), help="Write the HTML part to this file.")
@pass_desk
def preview(
    desk: Desk, notice: str, language: str, channel: str | None, battery: bool, no_link: bool, several: bool,
    html_file: Path | None,
) -> None:  # fmt: skip
    """Show a message with invented facts and this shop's own name, phone and address."""
    made = look(
        desk.ctx, desk.actor, desk.services.wordings(), notice=notice, language=language,
        variant=Variant(battery, no_link, several),
    )  # fmt: skip
    ways = {way: lines for way, lines in _ways(made).items() if channel in (None, way) and lines}
    if not ways:
        raise Invalid(f"{notice} never goes by {channel}", f"It goes by {', '.join(_taken(made))}.", field="channel")
    if html_file is not None:
        _write(desk.here / html_file, made)
    desk.show(asdict(made), *(line for lines in ways.values() for line in lines))


def _ways(made: Preview) -> dict[str, list[str]]:
    sms = ["Text message:", made.sms, size_in_words(made.count), ""] if made.count else []
    return {
        "email": ["E-mail:", made.subject, "", made.text, ""] if made.text else [],
        "sms": sms,
        "call": ["To be said on the phone:", made.say] if made.say else [],
    }


def _taken(made: Preview) -> list[str]:
    return [way for way, lines in _ways(made).items() if lines]


def _write(file: Path, made: Preview) -> None:
    if file.exists():
        raise Invalid(f"{file.name} is there already", "Name another file; nothing is overwritten.", field="html")
    try:
        file.write_text(made.html, "utf-8")
    except OSError as error:
        raise Invalid(
            f"{file.name} cannot be written ({error.strerror})", "Name another place.", field="html"
        ) from None
