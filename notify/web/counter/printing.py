"""Claim tickets and device labels as PDF files, made anew at each look."""

from __future__ import annotations

from flask import Blueprint
from werkzeug.wrappers import Response

from notify.flows import view_ticket_print
from notify.render.claim_ticket import ticket_pdf
from notify.render.labels import label_pdf, part_label_pdf
from notify.web.here import ctx, current_actor, services

pages = Blueprint("printing", __name__)
LABEL, LABEL_PAPER = "label", "label57x32"


@pages.get("/tickets/<ticket_id>/print/<paper>.pdf")
def print_ticket(ticket_id: str, paper: str) -> Response:
    """The claim ticket on that paper, or the label for the device."""
    made_at = ctx().clock()
    templates = services().templates
    if paper == LABEL:
        label, language = view_ticket_print.device_label(ctx(), current_actor(), ticket_id)
        data = label_pdf(label, paper=LABEL_PAPER, language=language, templates=templates, made_at=made_at)
    else:
        ticket = view_ticket_print.claim_ticket(
            ctx(), current_actor(), ticket_id, words=services().words.get, templates=templates
        )
        data = ticket_pdf(ticket, paper=paper, templates=templates, made_at=made_at)
    return pdf(data, f"{paper}.pdf" if paper == LABEL else f"claim-ticket-{paper}.pdf")


@pages.get("/parts/<part_id>/label.pdf")
def print_part_label(part_id: str) -> Response:
    """The label for the bag of a delivered part."""
    label, language = view_ticket_print.part_label(ctx(), current_actor(), part_id)
    made_at, templates = ctx().clock(), services().templates
    data = part_label_pdf(label, paper=LABEL_PAPER, language=language, templates=templates, made_at=made_at)
    return pdf(data, "part-label.pdf")


def pdf(data: bytes, name: str) -> Response:
    """A PDF to be looked at or printed from the browser."""
    answer = Response(data, mimetype="application/pdf")
    answer.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return answer
