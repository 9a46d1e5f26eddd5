"""Proves that a call comes from the gateway: a secret header, a name and password, or a signature over the body."""

from __future__ import annotations

import base64
import binascii
import hmac

from flask import Response, jsonify, request
from werkzeug.exceptions import RequestEntityTooLarge

from notify.config.settings import SmsHook
from notify.web.here import services

LARGEST = 64 * 1024  # octets; a receipt or a text message is far smaller


def refuse_hook() -> Response | None:
    """The answer to a call that is not proved, or None when it may go on. The body is read whole, but only so far."""
    hook = services().settings.sms_hook
    request.max_content_length = LARGEST
    try:
        raw = request.get_data(cache=True)
    except RequestEntityTooLarge:
        return said(413, "The body is too large")
    if hook.proof == "off" or not services().hook_secret:
        return said(404, "Nothing is taken here; sms.hook.proof is off")
    if not is_proved(hook, services().hook_secret, raw):
        return said(401, "The call is not proved to come from the gateway")
    return None


def is_proved(hook: SmsHook, secret: str, raw: bytes) -> bool:
    """Whether this request carries the proof that the settings ask for. Compared in constant time."""
    if hook.proof == "header":
        return _same(request.headers.get(hook.header, ""), secret)
    if hook.proof == "basic":
        given = request.authorization
        name, word = (given.username or "", given.password or "") if given and given.type == "basic" else ("", "")
        return _same(name, hook.name) & _same(word, secret)
    return hook.proof == "hmac" and _is_signed(hook, secret, raw, request.headers.get(hook.header, ""))


def said(status: int, what: str) -> Response:
    """A short answer for a program; it names no person and no message."""
    answer = jsonify({"taken": status < 300, "what": what})
    answer.status_code = status
    return answer


def _is_signed(hook: SmsHook, secret: str, raw: bytes, given: str) -> bool:
    """HMAC (RFC 2104) over the octets as they came: any reading and writing again would change them."""
    if not given.startswith(hook.prefix):
        return False
    written = given.removeprefix(hook.prefix).strip()
    try:
        mark = bytes.fromhex(written) if hook.encoding == "hex" else base64.b64decode(written, validate=True)
    except (ValueError, binascii.Error):
        return False
    return hmac.compare_digest(mark, hmac.digest(secret.encode(), raw, hook.algorithm))


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode())
