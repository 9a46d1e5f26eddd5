"""A browser's bare hands: signs in and sends forms to a running service with the standard library alone."""

from __future__ import annotations

import re
import urllib.error
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from typing import Any

_TOKEN = re.compile(r'name="csrf_token" value="([0-9a-f]+)"')
_ONCE = re.compile(r'name="once" value="([^"]+)"')


class _Stay(urllib.request.HTTPRedirectHandler):
    """Where an answer leads is for the caller to see."""

    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


class Hand:
    """Sends requests to one address and keeps its cookies; answers are (status, text, where it leads)."""

    def __init__(self, base: str) -> None:
        self._base = base
        self._web = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()), _Stay)

    def ask(self, path: str, data: dict[str, str] | None = None) -> tuple[int, str, str]:
        """GET, or POST with data."""
        body = urllib.parse.urlencode(data).encode() if data is not None else None
        request = urllib.request.Request(f"{self._base}{path}", data=body, headers={"Origin": self._base})
        try:
            with self._web.open(request, timeout=30) as answer:
                return answer.status, answer.read().decode(), ""
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode(), error.headers.get("Location", "")

    def sign_in(self, name: str, password: str) -> None:
        """As the form does; the answer must lead on."""
        status, text, _ = self.send("/sign-in", {"name": name, "password": password, "next": ""})
        assert status == 303, (status, text[:500])

    def send(self, path: str, data: dict[str, str], *, seen: str = "") -> tuple[int, str, str]:
        """Opens the page, then sends its form."""
        status, page, _ = self.ask(seen or path)
        if status != 200:
            return status, page, ""
        found, once = _TOKEN.search(page), _ONCE.search(page)
        more = {"csrf_token": found[1] if found else ""} | ({"once": once[1]} if once else {})
        return self.ask(path, data | more)
