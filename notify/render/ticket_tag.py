"""The upper half of a claim ticket: a shelf tag with shop, number, QR code and what to do with it."""

from __future__ import annotations

from notify.render.paper_blocks import Block, banner, beside, centred, headline, paragraph, qr_block, stack
from notify.render.ticket_desk import ClaimTicket, Desk


def tag(ticket: ClaimTicket, desk: Desk) -> Block:
    """A shelf tag with cut corners and an eyelet: shop, number, QR code, and the rule on a black foot."""
    paper, words, sheet = desk.paper, desk.words, desk.sheet
    stroke, pad = 4, 12
    inner = paper.printable - 2 * (stroke + pad)
    corner = min(paper.printable // 9, 60)
    narrow = inner - 2 * (corner // 2)
    top = stack(
        [
            paragraph(sheet, ticket.shop_name, width=narrow, size=paper.body, most=2, bold=True, centred=True),
            paragraph(sheet, words.your_number, width=narrow, size=paper.small, most=1, centred=True),
        ],
        gap=4,
    )
    number = headline(sheet, ticket.number, width=inner - paper.small, most=paper.number_most)
    foot = banner(sheet, f"{words.number_alone} {words.bring}", width=paper.printable, size=paper.small + 1, most=4)
    code = _code(ticket, desk, width=inner)
    eyelet = corner * 3 // 4
    heights = (eyelet, top.height, 10, number.height, 2, code.height, pad)
    height = sum(heights) + foot.height

    def draw(x: int, y: int) -> None:
        half, right, bottom = stroke / 2, x + paper.printable, y + height
        sheet.outline(
            [(x + corner, y + half), (right - corner, y + half), (right - half, y + corner),
             (right - half, bottom - half), (x + half, bottom - half), (x + half, y + corner)],
            stroke=stroke,
        )  # fmt: skip
        sheet.ring(x + paper.printable / 2, y + eyelet * 0.56, eyelet * 0.26, stroke=stroke)
        left, down = x + stroke + pad, y + eyelet
        top.draw(left + corner // 2, down)
        number.draw(left + paper.small // 2, down + top.height + 10)
        code.draw(left, down + top.height + 10 + number.height + 2)
        foot.draw(x, bottom - foot.height)

    return Block(paper.printable, height, draw)


def _code(ticket: ClaimTicket, desk: Desk, *, width: int) -> Block:
    """The QR code and what to do with it: below it on rolls, beside it on wide paper."""
    paper = desk.paper
    if desk.columns == 1:
        code = qr_block(desk.sheet, ticket.qr_text, width=width, paper=paper)
        return stack([centred(code, width=width), _what_to_do(ticket, desk, width=width)], gap=0)
    code = qr_block(desk.sheet, ticket.qr_text, width=width * 58 // 100, paper=paper)
    return beside(code, _what_to_do(ticket, desk, width=width - code.width - 8), gap=8)


def _what_to_do(ticket: ClaimTicket, desk: Desk, *, width: int) -> Block:
    words = desk.words
    # A telephone number is read aloud or typed: it never breaks over two lines.
    phone = ticket.shop_phone.replace(" ", "\N{NO-BREAK SPACE}")
    call = desk.text(f"{words.call} {phone}" if phone else "", width=width, most=2, bold=True)
    if not ticket.link:
        return stack([desk.text(words.scan_at_counter, width=width, most=4), call], gap=6)
    link = [desk.text(part, width=width, most=4, small=True) for part in _link_parts(ticket.link, desk, width=width)]
    scan = desk.text(words.scan, width=width, most=6)
    return stack([scan, stack([desk.text(words.or_open, width=width, most=1, small=True), *link], gap=0), call], gap=8)


def _link_parts(link: str, desk: Desk, *, width: int) -> tuple[str, ...]:
    """The link without its scheme; if one line is too short, the last part goes below in equal pieces."""
    short = link.removeprefix("https://").removeprefix("http://")
    small, sheet = desk.paper.small, desk.sheet
    if sheet.width_of(sheet.clean(short), small) <= width:
        return (short,)
    host, slash, token = short.rpartition("/")
    pieces = min(4, 1 + int(sheet.width_of(sheet.clean(token), small) // width))
    step = -(-len(token) // pieces)
    return (host + slash, *(token[at : at + step] for at in range(0, len(token), step)))
