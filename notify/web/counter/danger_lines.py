"""Lines of the day sheet about promises in danger: what was promised, why it is in danger, what could be promised."""

from __future__ import annotations

from notify.flows.view_danger import InDanger
from notify.web.counter import desk_words as d
from notify.web.say import Say


def danger_line(one: InDanger, speak: Say) -> d.Line:
    """What can be done: choose another time, whose words are shown before they are sent, or let the promise stand."""
    words = d.words()
    if one.threat is None:
        said, why = words("danger.past", promise=speak.by(one.promise_at)), ""
    else:
        said = words("danger.hardly" if one.hardly else "danger.doubtful", promise=speak.by(one.promise_at))
        why = d.staff_word("threat", one.threat)
    may = (
        words("danger.expected" if one.threat else "danger.tell", when=speak.by(one.expected))
        if one.expected
        else (words("danger.none"))
    )
    sentence = " ".join(part for part in (d.capital(said), why, may) if part)
    link = {"href": f"/tickets/{one.ticket.ticket_id}#promise-part", "label": words("danger.choose"), "main": False}
    return d.ticket_line(one.ticket, sentence, mark="caution", links=[link])
