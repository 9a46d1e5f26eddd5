"""Looks at what text messages need on this machine: secret files, certificates, the modem's library and port."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path

from notify.config.finding import Finding, finding_of
from notify.config.key_files import read_password
from notify.config.settings import Settings
from notify.core.errors import Misconfigured

MODEM_LIBRARY = "gammu"
LEAST_SECRET = 16  # signs; whoever guesses it could stop anybody's messages (policy)
_MAILGATE = (
    "sms.transport: an e-mail gateway says at most that it took a text message, never that it arrived, and most public "
    "ones have shut down"
)


def text_messages(settings: Settings) -> Iterator[Finding]:
    """Everything about text messages that is wrong or doubtful."""
    way = settings.sms.transport
    if way == "mailgate":
        yield Finding(
            "sms.transport",
            _MAILGATE,
            "Send one to your own phone first; a gateway by http can report delivery.",
            refuses=False,
        )
    if way == "http":
        yield from _http(settings)
    if way == "modem":
        yield from _modem(settings)
    if settings.sms_hook.proof != "off":
        yield from _secret(settings.sms_hook.secret_file, "sms.hook.secret_file", least=LEAST_SECRET)
        yield from _hook_address(settings)


def _http(settings: Settings) -> Iterator[Finding]:
    gateway = settings.sms_http
    if gateway.sign_in != "none":
        yield from _secret(gateway.secret_file, "sms.http.secret_file")
    if gateway.ca_file and not gateway.ca_file.is_file():
        yield Finding(
            "sms.http.ca_file", "sms.http.ca_file: there is no such file", "Write the right path, or leave it empty."
        )


def _hook_address(settings: Settings) -> Iterator[Finding]:
    if not settings.web.public_url:
        yield Finding(
            "sms.hook.proof",
            "sms.hook.proof: receipts cannot come, since web.public_url is empty",
            'Write the address that the gateway reaches, or set sms.hook.proof = "off".',
            refuses=False,
        )


def _modem(settings: Settings) -> Iterator[Finding]:
    if importlib.util.find_spec(MODEM_LIBRARY) is None:
        yield Finding(
            "sms.transport",
            "sms.transport is modem, but the library for modems is not installed",
            "Install Shelfbell with its extra: pip install 'shelfbell[modem]'.",
        )
    device = settings.sms_modem.device
    if device.startswith("/dev/") and not Path(device).exists():
        yield Finding(
            "sms.modem.device",
            "sms.modem.device: there is no such port at the moment",
            "Plug the modem in, or write the right port.",
            refuses=False,
        )


def _secret(file: Path | None, key: str, *, least: int = 1) -> Iterator[Finding]:
    try:
        secret = read_password(file or Path(), field=key)
    except Misconfigured as problem:
        yield finding_of(problem)
        return
    if len(secret) < least:
        yield Finding(key, f"{key}: the secret is shorter than {least} signs", "Make a long one by chance.")
