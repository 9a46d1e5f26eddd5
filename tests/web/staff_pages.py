"""What staff pages show, read as a person reads them: text without marks, and every form as a browser would send it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

LISTS = (
    "/",
    "/deliveries",
    "/deliveries/back",
    "/pickups",
    "/uncollected",
    "/uncollected?all=1",
    "/uncollected/rules",
    "/calls",
    "/replies",
    "/messages",
    "/settings",
    "/sources",
)
# Words that look like codes and are none: addresses of the shop and of the calendar, e-mail addresses.
NO_CODE = re.compile(r"\S*@\S+|https?://\S+")
CODE = re.compile(r"\b[a-z]+(?:_[a-z]+)+\b|\bNone\b|\bTrue\b|\bFalse\b|\{\w*\}|&amp;|P\d+[DMY]\b|T\d\d:\d\d")


@dataclass
class Form:
    """One form: where it goes, its fields with what they hold, its buttons (name, value, other address)."""

    action: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    buttons: list[tuple[str, str, str]] = field(default_factory=list)


class Reader(HTMLParser):
    """Collects the text a person sees in <main>, and every form there."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.forms: list[Form] = []
        self._main = self._hidden = 0
        self._select = self._textarea = ""
        self._asks = False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        a = {name: value or "" for name, value in attrs}
        self._main += tag == "main"
        self._hidden += tag in ("script", "style", "svg")
        if not self._main:
            return
        if tag == "form":
            self.forms.append(Form(a["action"]))
            self._asks = a.get("method", "get") != "post"
        elif self.forms:
            self._field(tag, a)

    def _field(self, tag: str, a: dict[str, str]) -> None:
        form = self.forms[-1]
        if tag == "input" and (a.get("type") not in ("checkbox", "radio") or "checked" in a):
            form.fields.append((a["name"], a.get("value", "")))
        elif tag == "select":
            self._select = a["name"]
            form.fields.append((a["name"], ""))
        elif tag == "option" and self._select and ("selected" in a or not form.fields[-1][1]):
            form.fields[-1] = (self._select, a.get("value", ""))
        elif tag == "textarea":
            self._textarea = a["name"]
            form.fields.append((a["name"], ""))
        elif tag == "button":
            form.buttons.append((a.get("name", ""), a.get("value", ""), a.get("formaction", "")))

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("script", "style", "svg")
        self._main -= tag == "main"
        if tag == "form" and self._asks and self.forms:
            self.forms.pop()  # it only asks for a page, and changes nothing
            self._asks = False
        self._select = "" if tag == "select" else self._select
        self._textarea = "" if tag == "textarea" else self._textarea

    def handle_data(self, data: str) -> None:
        if self._textarea and self.forms:
            self.forms[-1].fields[-1] = (self._textarea, data.strip("\n"))
        if self._main and not self._hidden:
            self.words.append(data.strip())

    @property
    def text(self) -> str:
        """What is read, in order."""
        return " ".join(" ".join(self.words).split())


def codes_in(text: str) -> list[str]:
    """Code words, unfilled gaps and Python's own words in a text for people."""
    return sorted(set(CODE.findall(NO_CODE.sub("", text))))
