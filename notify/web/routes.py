"""The written list of every route: which methods it takes and who may use it. What is not listed is not served."""

from __future__ import annotations

from dataclasses import dataclass

from notify.core.roles import PERMISSIONS
from notify.web.api import operations

UNSAFE = frozenset({"POST", "PUT", "PATCH", "DELETE"})


@dataclass(frozen=True, slots=True)
class Access:
    """`who` is public, claim (whoever holds the claim link in the address), demo, staff with a permission, hook (a
    call of another system's server that proves itself: web/hooks/proof), signed (a call that one of the shop's sources
    signed: web/hooks/signed), letter (whoever holds the link of a mail
    that stops its kind: core/one_click), pass (whoever holds a pass to collect), feed (whoever holds the secret
    address of the shop's own calendar), or token (a script of the shop's own, whose scope web/api/door looks at).
    """

    methods: frozenset[str]
    who: str
    permission: str = ""


def _for(methods: str, who: str) -> Access:
    kind, _, permission = who.partition(":")
    if kind == "staff" and permission not in PERMISSIONS:
        raise ValueError(f"{who}: there is no such permission")
    return Access(frozenset(methods.split()), kind, permission)


# Rule as Flask writes it -> methods (HEAD and OPTIONS go with GET), who.
_LIST: tuple[tuple[str, str, str], ...] = (
    ("/static/<path:filename>", "GET", "public"),
    # customers
    ("/c/<token>", "GET", "claim"),
    ("/c/<token>/answer", "POST", "claim"),
    ("/c/<token>/slots", "GET", "claim"),
    ("/c/<token>/book", "POST", "claim"),
    ("/c/<token>/move", "POST", "claim"),
    ("/c/<token>/cancel", "POST", "claim"),
    ("/c/<token>/stop", "POST", "claim"),
    ("/c/<token>/language", "POST", "claim"),
    ("/c/<token>/qr.svg", "GET", "claim"),
    ("/c/<token>/pickup.ics", "GET", "claim"),
    ("/c/<token>/passes", "POST", "claim"),
    ("/c/<token>/passes/confirm", "POST", "claim"),
    ("/c/<token>/passes/revoke", "POST", "claim"),
    # whoever collects for a customer and holds a pass
    ("/p/<code>", "GET", "pass"),
    ("/p/<code>/qr.svg", "GET", "pass"),
    ("/c/<token>/send-code", "POST", "claim"),
    ("/c/<token>/code", "GET POST", "claim"),
    ("/c/<token>/rights", "GET", "claim"),
    ("/c/<token>/rights/send-code", "POST", "claim"),
    ("/c/<token>/rights/code", "POST", "claim"),
    ("/c/<token>/rights/ask", "POST", "claim"),
    ("/c/<token>/rights/withdraw", "POST", "claim"),
    ("/c/<token>/rights/copy", "POST", "claim"),
    ("/privacy", "GET", "public"),
    ("/lost", "GET POST", "public"),
    ("/lost/code", "POST", "public"),
    # whoever reads a mail, and the program they read it with: the link is the proof
    ("/u/<link>", "GET POST", "letter"),
    # the gateway for text messages, which proves itself in each call
    ("/hooks/sms/receipt", "POST", "hook"),
    ("/hooks/sms/inbound", "POST", "hook"),
    # another system's signed calls; the signature is the proof
    ("/hooks/watch/<name>", "POST", "signed"),
    # the shop's own calendar program: the secret in the address is the proof
    ("/feeds/<feed>.ics", "GET", "feed"),
    # this machine's own watchers
    ("/healthz", "GET", "public"),
    # who is here
    ("/sign-in", "GET POST", "public"),
    ("/sign-out", "POST", "staff:look"),
    ("/who", "GET POST", "staff:look"),
    # the desk
    ("/", "GET", "staff:look"),
    ("/scan", "POST", "staff:look"),
    ("/check-in", "GET POST", "staff:check_in"),
    # claim tickets printed in advance
    ("/pads", "GET", "staff:check_in"),
    ("/pads/make", "POST", "staff:check_in"),
    ("/pads/void", "POST", "staff:reissue"),
    ("/pads/<pad_id>/<paper>.pdf", "GET", "staff:check_in"),
    ("/pads/<pad_id>/enter", "GET POST", "staff:check_in"),
    ("/visits/<visit_id>", "GET", "staff:look"),
    ("/visits/<visit_id>/qr.svg", "GET", "staff:look"),
    ("/visits/<number>/consents", "GET", "staff:see_contact"),
    ("/visits/<number>/consents/say", "POST", "staff:change_contact"),
    ("/visits/<visit_id>/lost", "GET POST", "staff:reissue"),
    ("/visits/<visit_id>/handover", "GET POST", "staff:hand_back"),
    ("/visits/<visit_id>/scan", "POST", "staff:hand_back"),
    ("/visits/<visit_id>/passes", "POST", "staff:hand_back"),
    ("/visits/<visit_id>/passes/revoke", "POST", "staff:give_pass"),
    ("/visits/<visit_id>/pass", "GET", "staff:hand_back"),
    ("/visits/<visit_id>/pass.svg", "GET", "staff:hand_back"),
    ("/visits/<visit_id>/book", "GET POST", "staff:book"),
    # a ticket
    ("/tickets/<ticket_id>", "GET", "staff:look"),
    ("/tickets/<ticket_id>/why", "GET", "staff:look"),
    ("/tickets/<ticket_id>/move", "POST", "staff:move"),
    ("/tickets/<ticket_id>/earlier", "GET POST", "staff:move"),
    ("/tickets/<ticket_id>/undo", "POST", "staff:move"),
    ("/tickets/<ticket_id>/next", "POST", "staff:move"),
    ("/tickets/<ticket_id>/questions", "POST", "staff:ask"),
    ("/tickets/<ticket_id>/parts", "POST", "staff:order_part"),
    ("/tickets/<ticket_id>/promise", "POST", "staff:move"),
    ("/tickets/<ticket_id>/notes", "POST", "staff:look"),
    ("/tickets/<ticket_id>/place", "POST", "staff:move"),
    ("/tickets/<ticket_id>/paid", "POST", "staff:check_in"),
    ("/tickets/<ticket_id>/safety", "POST", "staff:move"),
    ("/tickets/<ticket_id>/kind", "POST", "staff:move"),
    ("/tickets/<ticket_id>/contact", "POST", "staff:change_contact"),
    ("/tickets/<ticket_id>/contact/show", "POST", "staff:see_contact"),
    ("/contact-reads", "GET", "staff:export"),
    ("/tickets/<ticket_id>/claim-ticket", "POST", "staff:reissue"),
    ("/tickets/<ticket_id>/hold", "POST", "staff:hold"),
    ("/tickets/<ticket_id>/print/<paper>.pdf", "GET", "staff:look"),
    ("/questions/<question_id>/answer", "POST", "staff:answer"),
    ("/questions/<question_id>/withdraw", "POST", "staff:ask"),
    ("/parts/<part_id>/order", "POST", "staff:order_part"),
    ("/parts/<part_id>/due", "POST", "staff:order_part"),
    ("/parts/<part_id>/not-needed", "POST", "staff:order_part"),
    ("/parts/<part_id>/arrived", "POST", "staff:receive_part"),
    ("/parts/<part_id>/dead", "POST", "staff:receive_part"),
    ("/parts/<part_id>/not-here", "POST", "staff:receive_part"),
    ("/parts/<part_id>/give", "POST", "staff:receive_part"),
    ("/parts/<part_id>/line", "POST", "staff:order_part"),
    ("/parts/<part_id>/another", "GET", "staff:look"),
    ("/parts/<part_id>/ask", "POST", "staff:ask"),
    ("/parts/<part_id>/wrong", "POST", "staff:receive_part"),
    ("/parts/<part_id>/use", "POST", "staff:receive_part"),
    ("/parts/<part_id>/label.pdf", "GET", "staff:look"),
    # the order of the bench
    ("/bench/<order_id>/take", "POST", "staff:move"),
    ("/bench/<order_id>/refuse", "POST", "staff:move"),
    ("/bench/usual", "POST", "staff:move"),
    ("/bench/undo", "POST", "staff:move"),
    # lists
    ("/deliveries", "GET", "staff:look"),
    ("/deliveries/arrived", "POST", "staff:receive_part"),
    ("/deliveries/box", "GET", "staff:look"),
    ("/deliveries/ordered", "POST", "staff:order_part"),
    ("/deliveries/due", "POST", "staff:order_part"),
    ("/deliveries/back", "GET", "staff:look"),
    ("/deliveries/sent-back", "POST", "staff:receive_part"),
    ("/pickups", "GET", "staff:look"),
    ("/pickups/hit", "GET", "staff:look"),
    ("/bookings/<booking_id>/settle", "POST", "staff:book"),
    ("/pickups/capacity", "GET", "staff:look"),
    ("/pickups/capacity.svg", "GET", "staff:look"),
    ("/bookings/<booking_id>/cancel", "POST", "staff:book"),
    ("/promises", "GET", "staff:report"),
    ("/promises/kept.svg", "GET", "staff:report"),
    ("/promises/pit.svg", "GET", "staff:report"),
    ("/promises/drift.svg", "GET", "staff:report"),
    ("/forecast", "GET", "staff:report"),
    ("/forecast/bench.svg", "GET", "staff:report"),
    ("/forecast/time.svg", "GET", "staff:report"),
    ("/uncollected", "GET", "staff:look"),
    ("/uncollected/rules", "GET", "staff:look"),
    ("/uncollected/rules/keep", "POST", "staff:settings"),
    ("/uncollected/<ticket_id>", "GET", "staff:look"),
    ("/uncollected/<ticket_id>/notice.pdf", "GET", "staff:look"),
    ("/uncollected/<ticket_id>/step", "POST", "staff:move"),
    ("/uncollected/<ticket_id>/leave", "POST", "staff:leave_behind"),
    ("/calendar-answers/<answer_id>", "POST", "staff:book"),
    # other systems, and what of their changes a person has to decide
    ("/sources", "GET", "staff:look"),
    ("/doubts/<doubt_id>", "GET", "staff:look"),
    ("/doubts/<doubt_id>/mean", "POST", "staff:move"),
    ("/doubts/<doubt_id>/link", "POST", "staff:move"),
    ("/doubts/<doubt_id>/take", "POST", "staff:move"),
    ("/doubts/<doubt_id>/take-in", "POST", "staff:check_in"),
    ("/doubts/<doubt_id>/leave", "POST", "staff:move"),
    ("/calls", "GET", "staff:see_contact"),
    ("/calls/<message_id>/log", "POST", "staff:log_call"),
    ("/replies", "GET", "staff:see_contact"),
    ("/replies/<reply_id>/seen", "POST", "staff:see_contact"),
    ("/replies/<reply_id>/request", "POST", "staff:take_request"),
    # what people ask by law about their own data
    ("/requests", "GET", "staff:take_request"),
    ("/requests/take", "POST", "staff:take_request"),
    ("/requests/<request_id>", "GET", "staff:take_request"),
    ("/requests/<request_id>/prove", "POST", "staff:take_request"),
    ("/requests/<request_id>/done", "POST", "staff:settle_request"),
    ("/requests/<request_id>/refuse", "POST", "staff:settle_request"),
    ("/requests/<request_id>/extend", "POST", "staff:settle_request"),
    ("/requests/<request_id>/lift", "POST", "staff:settle_request"),
    ("/requests/<request_id>/withdraw", "POST", "staff:take_request"),
    ("/requests/<request_id>/held.json", "GET", "staff:export"),
    ("/messages", "GET", "staff:look"),
    ("/messages/cost", "GET", "staff:look"),
    ("/messages/<message_id>", "GET", "staff:look"),
    ("/messages/<message_id>/html", "GET", "staff:look"),
    ("/messages/<message_id>/resend", "POST", "staff:resend"),
    ("/previews", "GET", "staff:look"),
    ("/previews/html", "GET", "staff:look"),
    ("/demo/mail", "GET", "demo:look"),
    # settings: everybody looks, the owner changes
    ("/settings", "GET", "staff:look"),
    ("/settings/shop", "POST", "staff:settings"),
    ("/settings/hours", "POST", "staff:settings"),
    ("/settings/closed", "POST", "staff:settings"),
    ("/settings/holidays", "POST", "staff:settings"),
    ("/settings/staff", "POST", "staff:staff"),
    ("/settings/bell", "POST", "staff:look"),  # one's own; the flow asks who is meant
    ("/settings/bench", "POST", "staff:staff"),
    ("/settings/away", "POST", "staff:look"),  # one's own; the flow asks who is meant
    ("/settings/promises", "POST", "staff:settings"),
    ("/settings/telling", "POST", "staff:settings"),
    ("/settings/suppliers", "POST", "staff:settings"),
    ("/settings/feeds", "POST", "staff:settings"),
    ("/settings/kinds", "GET", "staff:look"),
    ("/settings/kinds/keep", "POST", "staff:settings"),
    ("/settings/history", "GET", "staff:look"),
    ("/settings/history/read", "POST", "staff:settings"),
    ("/settings/api", "GET POST", "staff:settings"),
    ("/settings/listeners", "GET POST", "staff:settings"),
    ("/settings/collecting", "POST", "staff:settings"),
    # what is held about people, and the record of processing
    ("/held", "GET", "staff:settings"),
    ("/held/ages.svg", "GET", "staff:settings"),
    ("/held/next.svg", "GET", "staff:settings"),
    ("/held/consents.svg", "GET", "staff:settings"),
    ("/held/record", "GET POST", "staff:settings"),
    ("/held/erasures", "GET", "staff:settings"),
    ("/held/erasures/<record_id>", "GET", "staff:settings"),
    ("/settings/retention", "POST", "staff:settings"),
)
# The API has its own table, which says the scope of each operation too.
_API = {
    rule: Access(methods, "public" if public else "token") for rule, (methods, public) in operations.rules().items()
}
ROUTES: dict[str, Access] = {rule: _for(methods, who) for rule, methods, who in _LIST} | _API
# Unsafe routes that carry no cookie by design and so need no form token; each would need a proof of its own.
WITHOUT_FORM_TOKEN: frozenset[str] = frozenset(
    {"/hooks/sms/receipt", "/hooks/sms/inbound", "/hooks/watch/<name>", "/u/<link>"}
    | {rule for rule, access in _API.items() if access.methods & UNSAFE}
)
