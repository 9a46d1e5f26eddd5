"""Print a pad: claim tickets with number and code but nothing else, for a day without power or machines."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from notify.core.retention import Rule
from notify.render.blanks import box, boxes, cut, line, row
from notify.render.claim_ticket import into_pages
from notify.render.keeping_says import after_handback
from notify.render.paper import A4, LABELS, PAD_PAPERS, Paper, paper_named
from notify.render.paper_blocks import Block, beside, headline, qr_block, stack
from notify.render.paper_sheet import Sheet
from notify.render.paper_words import SAFETY_FLAGS, load_words
from notify.render.ticket_desk import ClaimTicket, Desk
from notify.render.ticket_tag import tag
from notify.render.words import Language

_CLASSES = ("radio", "camera", "e_reader", "handheld", "other")


@dataclass(frozen=True, slots=True)
class PadPage:
    """What is printed on one blank ticket; `qr_text` and `link` carry the secret and stay out of any log.

    `purposes` are those asked about, `wordings` the version of each sentence beside its box. `label_text` is the number
    as the label's code holds it, `place` where the ticket stands on its pad ("3/20"), `keeping` the rule by which the
    shop forgets people.
    """

    shop_name: str
    shop_lines: tuple[str, ...]
    shop_phone: str
    number: str
    label_text: str
    qr_text: str = field(repr=False)
    link: str = field(repr=False)
    place: str
    purposes: tuple[str, ...]
    wordings: Mapping[str, str]
    keeping: Rule
    currency: str
    privacy_link: str  # to which the language is added; "" for none


def pad_pdf(pages: Iterable[PadPage], *, paper: str, words: Language, templates: Path, made_at: datetime) -> bytes:
    """The pad as a PDF: a sheet for each ticket on A4 (cut it twice), else the customer's piece and the shop's.

    `paper` is a key of PAD_PAPERS. Same input, same bytes. Raises Invalid for an unknown paper.
    """
    size = paper_named(paper, PAD_PAPERS)
    with Sheet(templates, title=words["pad.title"], language=words.code, made_at=made_at) as sheet:
        for page in pages:
            _draw(page, Desk(sheet, size, load_words(templates, words.code)), words)
        return sheet.to_bytes()


def _draw(page: PadPage, desk: Desk, w: Language) -> None:
    if desk.paper is A4 and _fits_sheet(page, desk, w):
        return
    for blocks in (_customers(page, desk, w), _shops(page, desk, w)):
        _draw_pages(blocks, desk)


def _draw_pages(blocks: Sequence[Block], desk: Desk) -> None:
    paper, edge = desk.paper, desk.paper.margin
    if not paper.height:
        whole = stack(blocks, gap=desk.gap)
        desk.sheet.add_page(paper.width, whole.height + 2 * edge)
        whole.draw(edge, edge)
        return
    for one in into_pages(blocks, room=paper.height - 2 * edge, gap=desk.gap):
        desk.sheet.add_page(paper.width, paper.height)
        stack(one, gap=desk.gap).draw(edge, edge)


def _fits_sheet(page: PadPage, desk: Desk, w: Language) -> bool:
    """A4: the customer's piece, the shop's and the label below each other, in letters that let all of it fit.

    False, with nothing drawn, when even small ones do not: a shop's own words may be long.
    """
    edge, width = desk.paper.margin, desk.paper.printable
    for size in (desk.paper.body, desk.paper.body * 9 // 10, desk.paper.body * 8 // 10, desk.paper.body * 7 // 10):
        at = replace(desk, paper=replace(desk.paper, body=size, small=min(desk.paper.small, size - 4)))
        across = cut(at, width=width)
        whole = stack([*_customers(page, at, w), across, *_shops(page, at, w)], gap=at.gap)
        if whole.height <= desk.paper.height - 2 * edge:
            desk.sheet.add_page(desk.paper.width, desk.paper.height)
            whole.draw(edge, edge)
            return True
    return False


def _customers(page: PadPage, desk: Desk, w: Language) -> list[Block]:
    """What the customer takes home: number, code, what was left with us, and when to come."""
    width = desk.paper.printable
    ticket = _as_ticket(page, w)
    when = w("stub.privacy_when", after=after_handback(page.keeping, w))
    small = " ".join((w["stub.privacy_what"], when, _rights(page, w)))
    return [
        tag(ticket, desk),
        desk.text(w["pad.on_paper"], width=width, most=6),
        _lines(desk, (w["pad.device"], w["pad.promise"])),
        desk.text(small, width=width, most=9, small=True),
        desk.text(", ".join(page.shop_lines), width=width, most=2, small=True),
    ]


def _as_ticket(page: PadPage, w: Language) -> ClaimTicket:
    return ClaimTicket(
        shop_name=page.shop_name, shop_lines=page.shop_lines, shop_phone=page.shop_phone, number=page.number,
        qr_text=page.qr_text, link=page.link, received="", device="", accessories=(), fault="", money_lines=(),
        promise_line="", cautions=(), privacy_lines=(), language=w.code,
    )  # fmt: skip


def _rights(page: PadPage, w: Language) -> str:
    link = f"{page.privacy_link}{w.code}" if page.privacy_link else ""
    return w("stub.privacy_link", link=link) if link else w["stub.privacy_ask"]


def _shops(page: PadPage, desk: Desk, w: Language) -> list[Block]:
    """What stays: who brought what, what they agreed to, what to be careful of; and the label for the device."""
    width, wide = desk.paper.printable, desk.paper.printable > 1200
    head = desk.text(w("pad.shops_piece", place=page.place), width=width, most=1, small=True)
    number = headline(desk.sheet, page.number, width=width, most=desk.paper.number_most * 2 // 3, middle=False)
    classes = [w[f"device_class.{one}"] for one in _CLASSES if one != "other"] + [w["pad.other_device"]]
    flags = [w[f"safety.{one}"] for one in SAFETY_FLAGS]
    return [
        stack([head, number], gap=6), *_who(desk, w, wide=wide), _consents(page, desk, w),
        boxes(desk, classes, width=width, across=5 if wide else desk.columns + 1),
        line(desk, w["pad.device_and_parts"], width=width), line(desk, w["pad.fault"], width=width, lines=2),
        boxes(desk, flags, width=width, across=4 if wide else 2),
        _lines(desk, (w("pad.limit", currency=page.currency), w["pad.promise"], w["pad.shelf"])),
        cut(desk, width=width), _label(page, desk, w),
    ]  # fmt: skip


def _who(desk: Desk, w: Language, *, wide: bool) -> list[Block]:
    taken = _lines(desk, (w["pad.taken_in"], w["pad.taken_by"]))
    if wide:
        return [taken, _lines(desk, (w["pad.name"], w["pad.phone"], w["pad.email"]))]
    return [taken, line(desk, w["pad.name"], width=desk.paper.printable),
            _lines(desk, (w["pad.phone"], w["pad.email"]))]  # fmt: skip


def _lines(desk: Desk, labels: Sequence[str]) -> Block:
    """Lines to write on beside each other."""
    return row([line(desk, label, width=_part(desk, len(labels))) for label in labels], gap=desk.gap)


def _part(desk: Desk, parts: int) -> int:
    return (desk.paper.printable - desk.gap * (parts - 1)) // parts


def _consents(page: PadPage, desk: Desk, w: Language) -> Block:
    """A box for each use and way, as at check-in, with the version of its sentence."""
    width = desk.paper.printable
    asked = [w["pad.uses"]]
    rows: list[Block] = [desk.text(asked[0], width=width, most=2, small=True)]
    for purpose in page.purposes:
        rows.append(_consent(purpose, desk, w, width=width))
    rows.append(box(desk, w["pad.child"], width=width, most=2))
    versions = ", ".join(dict.fromkeys(page.wordings[one] for one in page.purposes))
    rows.append(desk.text(w("pad.version", versions=versions), width=width, most=1, small=True))
    return stack(rows, gap=8)


def _consent(purpose: str, desk: Desk, w: Language, *, width: int) -> Block:
    said = w[f"consent.{purpose}"]
    if desk.columns == 1:  # a roll has no room for it beside the boxes
        ways = [w[f"pad.by_{one}"] for one in ("phone", "email")]
        return stack([desk.text(said, width=width, most=4),
                      boxes(desk, ways, width=width, across=2)], gap=4)  # fmt: skip
    way = width // 5
    text = desk.text(said, width=width - 2 * (way + desk.gap), most=4)
    squares = [box(desk, w[f"pad.by_{one}"], width=way, most=1) for one in ("phone", "email")]
    return row([Block(width - 2 * (way + desk.gap), text.height, text.draw), *squares], gap=desk.gap)


def _label(page: PadPage, desk: Desk, w: Language) -> Block:
    """For the device: the number, in a code of its own that is not secret, and room for a word."""
    paper: Paper = LABELS["label57x32"]
    code = qr_block(desk.sheet, page.label_text, width=paper.height, paper=paper)
    width = min(desk.paper.printable, 2 * paper.width) - code.width - 12
    said = stack(
        [headline(desk.sheet, page.number, width=width, most=paper.number_most * 3 // 2, middle=False),
         line(desk, w["pad.label"], width=width)], gap=8,
    )  # fmt: skip
    return beside(code, said, gap=12)
