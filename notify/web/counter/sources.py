"""Sources and what waits of them: how each is doing, both sides of a change, and a tap for each way out."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, request
from werkzeug.wrappers import Response

from notify.config.settings import Watch
from notify.config.table import PART_WORDS, PHASE_WORDS
from notify.core.errors import NotifyError
from notify.core.roles import may
from notify.core.sources import Batch, Doubt
from notify.flows import doubts, source_state, view_sources
from notify.flows.doubts import Decided
from notify.flows.source_shop import watches_of
from notify.flows.view_sources import DoubtLine, SourceLine
from notify.web.counter import desk_words as d
from notify.web.here import ctx, current_actor, services, shop_id
from notify.web.pages import redirect_with, render_page, say
from notify.web.say import Say

pages = Blueprint("sources", __name__)
_TAKEN = (Doubt.STAFF_SAID_OTHERWISE, Doubt.IMPOSSIBLE_MOVE, Doubt.UNKNOWN_PART, Doubt.NEEDS_A_PERSON)
_TYPED = ("device", "name", "phone", "email")


def watches() -> tuple[Watch, ...]:
    """The sources that belong to this shop."""
    every = services().settings.watch
    return watches_of(ctx(), services().shop_ids(), every, shop_id()) if every else ()


@pages.get("/sources")
def show() -> Response:
    """Every source, and every change that waits; `source` shows those of one only."""
    wanted = request.args.get("source", "")
    seen, speak = view_sources.view(ctx(), current_actor(), watches(), source=wanted, named=False), say()
    number = len(seen.doubts) + seen.more
    return render_page(
        "sources.html", here="settings", sentence=sentence(number),
        sources=[source_line(one, speak) for one in seen.lines],
        doubts=[doubt_line(one, speak) for one in seen.doubts],
        more=f"{d.capital(d.count(seen.more, 'more waits', 'more wait'))}." if seen.more > 0 else "",
    )  # fmt: skip


def sentence(number: int) -> str:
    """How much waits, and that nothing is guessed."""
    if not number:
        return "Everything that other systems told has been taken."
    verb = "waits" if number == 1 else "wait"
    return f"{d.capital(d.count(number, 'change', 'changes'))} {verb} for you. Nothing is guessed, and nothing is lost."


def source_line(one: SourceLine, speak: Say) -> d.Line:
    """How a source is doing, and what to do if it is not well."""
    what = d.capital(d.word("source_kind", one.kind or "other"))
    read = f", last read {d.at(speak, one.state.well_at)}" if one.state.well_at else ", not read yet"
    if one.kind == "webhook":
        read = ""
    said = f"{what}{read if one.kind else ''}."
    links = [{"href": f"/sources?source={one.name}", "label": "What waits", "main": False}] if one.waits else []
    is_well = not one.state.trouble and not one.silent_since
    return d.sheet_line(one.name, f"{said}{_ill(one, speak)}", mark="bell" if is_well else "caution", links=links)


def _ill(one: SourceLine, speak: Say) -> str:
    if one.state.trouble:
        since = f" since {speak.when(one.state.trouble_since)}" if one.state.trouble_since else ""
        return f" Trouble{since}: {d.word('source_trouble', one.state.trouble)}"
    return (
        f" Nothing has come since {speak.when(one.silent_since)}. Look whether it still runs."
        if one.silent_since
        else ""
    )


def sheet_lines(speak: Say) -> list[d.Line]:
    """What the day sheet says of sources: what waits, and who has been silent for too long."""
    mine = watches()
    found = view_sources.on_sheet(ctx(), current_actor(), mine)
    return [_sheet_line(one, speak) for one in found]


def _sheet_line(one: SourceLine, speak: Say) -> d.Line:
    verb = "waits" if one.waits == 1 else "wait"
    waits = f"{d.capital(d.count(one.waits, 'change', 'changes'))} {verb} for you." if one.waits else ""
    said = f"{waits}{_ill(one, speak)}".strip()
    links = [{"href": f"/sources?source={one.name}", "label": "Look", "main": bool(one.waits)}]
    return d.sheet_line(one.name, said, mark="caution" if one.silent_since else "question", links=links)


def doubt_line(one: DoubtLine, speak: Say) -> d.Line:
    """Both sides of a change in sentences, with the taps that settle it at once."""
    parts = [_there(one, speak), d.stands(one.ticket, speak) if one.ticket else "", why(one)]
    buttons = [d.button(f"/doubts/{one.id}/leave", leaving(one))]
    if one.kind is Doubt.STAFF_SAID_OTHERWISE and not one.is_agreed:
        buttons.insert(0, d.button(f"/doubts/{one.id}/take", "Take theirs"))
    return d.sheet_line(
        d.device(one.ticket) if one.ticket else one.reference or one.source, " ".join(part for part in parts if part),
        mark="question", number=one.ticket.number if one.ticket else "",
        href=f"/tickets/{one.ticket.ticket_id}" if one.ticket else "", buttons=buttons,
        links=[{"href": f"/doubts/{one.id}", "label": "Decide", "main": one.kind is not Doubt.STAFF_SAID_OTHERWISE}],
    )  # fmt: skip


def _there(one: DoubtLine, speak: Say) -> str:
    when = f" of {speak.when(one.told_at)}" if one.told_at else f", seen {d.at(speak, one.seen_at)}"
    what = f" says “{one.word}”" if one.word else " tells of it"
    about = f" of {one.reference}" if one.reference and one.word else ""
    return f"{one.source}{what}{about}{when}."


def leaving(one: DoubtLine) -> str:
    """What the button says that changes nothing here."""
    return "That is right" if one.is_agreed else "Leave ours" if one.ticket else "Leave it"


def taking(one: DoubtLine) -> str:
    """What the button says that lets theirs count; "" where there is none, as both say the same."""
    if one.kind not in _TAKEN or one.is_agreed:
        return ""
    return "Take theirs" if one.kind is Doubt.STAFF_SAID_OTHERWISE else "Try theirs again"


def why(one: DoubtLine) -> str:
    """Why it waits, and what to do."""
    if one.is_agreed:
        return "Both say the same by now."
    asked = one.cells.get(one.field, one.word) if one.kind is Doubt.UNKNOWN_WORD else one.word
    values = {"word": asked, "reason": d.plain(one.reason)}
    wanted = d.words()[f"doubt.{one.kind.value}"]
    return wanted.format(**{name: text for name, text in values.items() if "{" + name + "}" in wanted})


@pages.get("/doubts/<doubt_id>")
def one(doubt_id: str) -> Response:
    """One change with everything that it says, and a form for each way to settle it."""
    return _page(doubt_id)


def _page(doubt_id: str, error: NotifyError | None = None) -> Response:
    found, speak = view_sources.view_doubt(ctx(), current_actor(), watches(), doubt_id), say()
    is_word = _asks_for_word(found)
    about_tickets, new_here = found.about == "tickets", found.ticket is None
    return render_page(
        "doubt.html", here="settings", status=400 if error else 200, errors=d.problems(error) if error else [],
        doubt_id=found.id, source=found.source, is_open=found.state == "open",
        sentence=why(found) if found.state == "open" else "This has been decided.", there=_there(found, speak),
        ours=d.stands(found.ticket, speak) if found.ticket else "",
        number=found.ticket.number if found.ticket else "",
        href=f"/tickets/{found.ticket.ticket_id}" if found.ticket else "",
        cells=[{"label": d.word("source_cell", name), "text": text} for name, text in found.cells.items()],
        word=found.cells.get(found.field, "") if is_word else "",
        meanings=[{"code": code, "label": d.word("source_means", code)} for code in _ours(found)],
        can_link=about_tickets and new_here, take=taking(found), leave=leaving(found),
        can_take_in=about_tickets and new_here and may(current_actor().role, "check_in"),
        typed={name: request.form.get(name, found.cells.get(name, "")) for name in (*_TYPED, "number")},
    )  # fmt: skip


def _asks_for_word(one: DoubtLine) -> bool:
    return one.kind is Doubt.UNKNOWN_WORD and one.field in ("phase", "part_state")


def _ours(one: DoubtLine) -> tuple[str, ...]:
    return PART_WORDS if one.field == "part_state" else PHASE_WORDS


@pages.post("/doubts/<doubt_id>/mean")
def mean(doubt_id: str) -> Response:
    """Keeps what the word means, and tries everything that waits for it again."""
    found = view_sources.view_doubt(ctx(), current_actor(), watches(), doubt_id)
    kind = source_state.PART if found.field == "part_state" else source_state.PHASE
    # Of another change the field may be a name or a telephone number, which must not be kept as a word.
    word, means = found.cells.get(found.field, "") if _asks_for_word(found) else "", request.form.get("means", "")
    return _decide(doubt_id, lambda: doubts.mean(ctx(), current_actor(), _batch(doubt_id), word, means, kind=kind))


@pages.post("/doubts/<doubt_id>/link")
def link(doubt_id: str) -> Response:
    """It speaks of our ticket with this number."""
    number = request.form.get("number", "")
    return _decide(doubt_id, lambda: doubts.link(ctx(), current_actor(), _batch(doubt_id), doubt_id, number))


@pages.post("/doubts/<doubt_id>/take")
def take(doubt_id: str) -> Response:
    """Their word counts."""
    return _decide(doubt_id, lambda: doubts.take_theirs(ctx(), current_actor(), _batch(doubt_id), doubt_id))


@pages.post("/doubts/<doubt_id>/take-in")
def take_in(doubt_id: str) -> Response:
    """The device is new here: a check-in with what the source says, as corrected."""
    cells = {name: request.form.get(name, "") for name in _TYPED}
    return _decide(doubt_id, lambda: doubts.take_in(ctx(), current_actor(), _batch(doubt_id), doubt_id, cells))


@pages.post("/doubts/<doubt_id>/leave")
def leave(doubt_id: str) -> Response:
    """Everything stays as it is here."""
    return _decide(doubt_id, lambda: doubts.leave_ours(ctx(), current_actor(), doubt_id))


def _batch(doubt_id: str) -> Batch:
    source = view_sources.source_of(ctx(), current_actor(), doubt_id)
    return source_state.batch_for(ctx(), shop_id(), watches(), source)


def _decide(doubt_id: str, do: Callable[[], Decided]) -> Response:
    view_sources.source_of(ctx(), current_actor(), doubt_id)  # of another shop, or nobody's: not found
    try:
        said = do()
    except NotifyError as error:
        return _page(doubt_id, error)
    return redirect_with("/sources" if said.settled else f"/doubts/{doubt_id}", d.plain(said.said))
