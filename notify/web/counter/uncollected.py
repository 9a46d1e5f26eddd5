"""Uncollected devices: who is overdue, the steps about one, the draft to print, the rules of the law."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, request
from werkzeug.wrappers import Response as Answer

from notify.core.errors import Conflict, Invalid, NotAllowed, NotifyError
from notify.core.roles import may
from notify.core.tickets import LEFT_REASONS
from notify.core.uncollected import WAYS, Rule, Step
from notify.flows import moves, view_uncollected
from notify.flows.uncollected import RuleForm, log_step, set_rule
from notify.render.uncollected_notice import notice_pdf
from notify.web.counter import desk_words as d
from notify.web.counter import fields
from notify.web.counter import uncollected_says as says
from notify.web.here import ctx, current_actor, services
from notify.web.pages import Problem, redirect_with, render_page, say

pages = Blueprint("uncollected", __name__)
RULE_FIELDS = ("code", "name", "notice_after_days", "wait_days", "form", "source", "checked_on")


@pages.get("/uncollected")
def show() -> Answer:
    """Everybody overdue; with `all=1` the whole shelf."""
    everything, speak = request.args.get("all") == "1", say()
    seen = view_uncollected.view(ctx(), current_actor(), everything=everything)
    return render_page(
        "uncollected.html", here="pickups", everything=everything,
        sentence=_sentence(len(seen.overdue), everything=everything), hidden=_hidden(seen.hidden),
        rule=f"The rule that counts: {seen.rule.name}." if seen.rule else
        "No rule of the law is verified and switched on: days are counted, and nothing follows from them.",
        lines=[says.line(one, speak) for one in seen.overdue], kept=[says.kept_line(one) for one in seen.kept],
    )  # fmt: skip


def _sentence(number: int, *, everything: bool) -> str:
    if everything:
        return f"{d.capital(d.count(number, 'device is', 'devices are'))} on the shelf."
    if not number:
        return "Nothing is overdue."
    return f"{d.capital(d.count(number, 'device is', 'devices are'))} overdue: every reminder has had its day."


def _hidden(number: int) -> str:
    return f"{d.capital(d.count(number, 'more device is', 'more devices are'))} on the shelf." if number else ""


@pages.get("/uncollected/<ticket_id>")
def show_one(ticket_id: str) -> Answer:
    """One device with its list."""
    return _one(ticket_id)


def _one(
    ticket_id: str, *, errors: list[Problem] | None = None, status: int = 200, typed: dict[str, Any] | None = None
) -> Answer:
    (one, _, today), speak = view_uncollected.view_one(ctx(), current_actor(), ticket_id), say()
    given = {"step": "", "on": str(today), "how": "", "reason": "", "note": "", "sure": False, **(typed or {})}
    return render_page(
        "uncollected_one.html", here="pickups", status=status, errors=errors, ticket_id=ticket_id,
        number=one.ticket.number, device=d.device(one.ticket), who=d.person(one.ticket.person),
        sentence=says.stage(one.standing), told=says.told(one), missed=says.missed(one, speak),
        days=f"On the shelf for {d.count(one.days, 'day', 'days')}.", money=d.left(one.ticket.left, speak),
        review=f"Look again why it is kept by {says.on(one.review_on)}." if one.review_on else "",
        cautions=says.cautions(one.ticket.safety), flag=d.flag(one.ticket.safety),
        noted=[says.noted(step) for step in one.noted],
        checks=[says.check(check) for check in one.checks], typed=given,
        steps=[{"code": step.value, "label": d.words()(f"uncollected_step.{step}")} for step in Step],
        ways=[{"code": way, "label": d.capital(d.words()(f"uncollected_way.{way}"))} for way in WAYS],
        reasons=[{"code": code, "label": d.staff_word("staff_reason", code)} for code in LEFT_REASONS],
        may_leave=may(current_actor().role, "leave_behind"),
    )  # fmt: skip


@pages.get("/uncollected/<ticket_id>/notice.pdf")
def draft(ticket_id: str) -> Response:
    """The draft of the notice, made anew at each look."""
    notice = view_uncollected.notice(ctx(), current_actor(), ticket_id)
    data = notice_pdf(notice, templates=services().templates, made_at=ctx().clock())
    answer = Response(data, mimetype="application/pdf")
    answer.headers["Content-Disposition"] = 'inline; filename="draft-notice.pdf"'
    return answer


@pages.post("/uncollected/<ticket_id>/step")
def step(ticket_id: str) -> Answer:
    """Notes a step with its day."""
    typed = {name: request.form.get(name, "") for name in ("step", "on", "how")}
    view_uncollected.view_one(ctx(), current_actor(), ticket_id)  # what is not ours, or not here, is no wrong field
    try:
        day = fields.day(typed["on"], field="on")
        log_step(ctx(), current_actor(), ticket_id, typed["step"], on=day, how=typed["how"])
    except Invalid as error:
        if error.field == "step":
            error = Invalid("No step was chosen", "Choose one of the list.", field="step")
        elif error.field == "how" and not typed["how"]:
            error = Invalid("How the notice was given is missing", "Choose one of the list.", field="how")
        named = {name: f"step-{name}" for name in typed}
        return _one(ticket_id, errors=d.problems(error, named), status=422, typed=typed)
    return redirect_with(f"/uncollected/{ticket_id}", "Noted.")


@pages.post("/uncollected/<ticket_id>/leave")
def leave(ticket_id: str) -> Answer:
    """Closes it as never collected, if its list is done; what happens to the device is done by a person."""
    form = request.form
    typed: dict[str, Any] = {
        "reason": form.get("reason", ""),
        "note": form.get("note", ""),
        "sure": form.get("sure") == "yes",
    }
    number = view_uncollected.view_one(ctx(), current_actor(), ticket_id)[0].ticket.number
    try:
        moves.move(ctx(), current_actor(), ticket_id, "left_behind", reason=typed["reason"], note=typed["note"],
                   anyway=typed["sure"])  # fmt: skip
    except (Invalid, NotAllowed, Conflict) as error:
        if error.field == "reason" and not typed["reason"]:
            error = Invalid("No reason was chosen", "Choose one of the list.", field="reason")
        named = {"reason": "leave-reason", "note": "leave-note"}
        status = 422 if isinstance(error, Invalid) else 409
        return _one(ticket_id, errors=d.problems(error, named), status=status, typed=typed)
    return redirect_with("/uncollected", d.words()("moved.left_behind", number=number))


@pages.get("/uncollected/rules")
def rules() -> Answer:
    """The rules of the law."""
    return _rules()


def _rules(*, errors: list[Problem] | None = None, status: int = 200, typed: dict[str, Any] | None = None) -> Answer:
    found = view_uncollected.rules(ctx(), current_actor())
    asked = request.args.get("code", "")
    chosen = next((rule for rule in found if rule.code == asked), None)
    stored = _as_typed(chosen) if chosen else {**dict.fromkeys(RULE_FIELDS, ""), "verified": False, "active": False}
    return render_page(
        "uncollected_rules.html", here="pickups", status=status, errors=errors, rule=typed or stored,
        is_known=bool(chosen or (typed and typed["code"] in {one.code for one in found})),
        may_change=may(current_actor().role, "settings"),
        rules=[{"code": one.code, "name": one.name, "sentence": says.rule_line(one), "form": one.form,
                "source": one.source, "checked": f"Read on {says.on(one.checked_on)}." if one.checked_on else ""}
               for one in found],
    )  # fmt: skip


def _as_typed(rule: Rule) -> dict[str, Any]:
    texts = {name: str(getattr(rule, name) or "") for name in ("code", "name", "form", "source", "checked_on")}
    return {**texts, "notice_after_days": str(rule.notice_after_days), "wait_days": str(rule.wait_days),
            "verified": rule.verified, "active": rule.active}  # fmt: skip


@pages.post("/uncollected/rules/keep")
def put_rule() -> Answer:
    """Keeps a rule; switched on only when somebody says that they read the law."""
    typed: dict[str, Any] = {name: request.form.get(name, "").strip() for name in RULE_FIELDS}
    typed |= {name: request.form.get(name) == "yes" for name in ("verified", "active")}
    try:
        made = set_rule(ctx(), current_actor(), typed["code"], _rule_form(typed))
    except NotifyError as error:
        named = {one.field: f"rule-{one.field}" for one in error.problems if one.field}
        return _rules(errors=d.problems(error, named), status=422, typed=typed)
    return redirect_with("/uncollected/rules", f"Kept: {made.name}. {says.rule_line(made)}")


def _rule_form(typed: dict[str, Any]) -> RuleForm:
    return RuleForm(
        name=typed["name"], form=typed["form"], source=typed["source"], verified=typed["verified"],
        notice_after_days=fields.whole(typed["notice_after_days"], field="notice_after_days"),
        wait_days=fields.whole(typed["wait_days"], field="wait_days"), active=typed["active"],
        checked_on=fields.day(typed["checked_on"], field="checked_on"),
    )  # fmt: skip
