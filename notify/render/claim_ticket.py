"""Print the claim ticket that a customer takes home, as a PDF for rolls and A6."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from notify.render.paper import PAPERS, Paper, paper_named
from notify.render.paper_blocks import Block, stack
from notify.render.paper_sheet import Sheet
from notify.render.paper_words import PaperWords, load_words
from notify.render.ticket_body import body
from notify.render.ticket_desk import ClaimTicket, Desk
from notify.render.ticket_tag import tag

__all__ = ["PAPERS", "ClaimTicket", "ticket_pdf"]


def ticket_pdf(ticket: ClaimTicket, *, paper: str, templates: Path, made_at: datetime) -> bytes:
    """The ticket as a PDF: one page as long as its content on a roll, as many as needed on A6.

    `paper` is a key of PAPERS, `templates` the folder with words and fonts, `made_at` (aware) goes into the
    file: same input, same bytes. Raises Invalid for an unknown paper or a QR text that does not fit,
    Misconfigured for missing words or fonts.
    """
    size = paper_named(paper, PAPERS)
    words = load_words(templates, ticket.language)
    title = f"{words.title_ticket} {ticket.number}"
    with Sheet(templates, title=title, language=ticket.language, made_at=made_at) as sheet:
        desk, pages = _laid_out(ticket, sheet=sheet, paper=size, words=words)
        _draw(pages, desk, number=ticket.number)
        return sheet.to_bytes()


def _laid_out(ticket: ClaimTicket, *, sheet: Sheet, paper: Paper, words: PaperWords) -> tuple[Desk, list[list[Block]]]:
    """The blocks of each page: one page for a roll; A6 gets smaller letters before a second page."""
    first = None
    for size in (paper.body, paper.body * 9 // 10, paper.body * 8 // 10):
        desk = Desk(sheet, replace(paper, body=size, small=min(paper.small, size - 2)), words)
        blocks = [tag(ticket, desk), *body(ticket, desk)]
        if not paper.height:
            return desk, [blocks]
        pages = into_pages(blocks, room=paper.height - 2 * paper.margin, gap=desk.gap)
        if len(pages) == 1:
            return desk, pages
        first = first or (desk, pages)
    assert first is not None  # the loop ran
    return first


def _draw(pages: list[list[Block]], desk: Desk, *, number: str) -> None:
    """Draw the pages; each after the first says whose it is."""
    paper, edge, gap = desk.paper, desk.paper.margin, desk.gap
    for count, page in enumerate(pages, start=1):
        if count > 1:
            head = desk.text(f"{number}  {count}/{len(pages)}", width=paper.printable, most=1, bold=True)
            page.insert(0, head)
        whole = stack(page, gap=gap)
        desk.sheet.add_page(paper.width, paper.height or whole.height + 2 * edge)
        whole.draw(edge, edge)


def into_pages(blocks: Sequence[Block], *, room: int, gap: int) -> list[list[Block]]:
    """The blocks in order, as many to a page of `room` dots as fit; each later page keeps 60 for its head."""
    pages: list[list[Block]] = [[]]
    left = room
    for block in (each for each in blocks if each.height):
        if block.height > left and pages[-1]:
            pages.append([])
            left = room - 60
        pages[-1].append(block)
        left -= block.height + gap
    return pages
