"""Makes a page fit for mail: styles inside the elements, and nothing that a mail program would fetch."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import css_inline

from notify.core.errors import Invalid

# A mail that fetches tells its sender when and where it was read. Links that a person clicks are no fetching.
ACTIVE = re.compile("applet|audio|base|embed|form|frame|frameset|iframe|input|link|object|script|svg|video")
FETCHING = re.compile("action|background|codebase|data|formaction|href|lowsrc|poster|src|srcset")
_INSIDE = ("cid:", "data:image/png;", "data:image/gif;", "data:image/jpeg;")
_CSS_FETCH = re.compile(r"url\s*\(|@import|image-set|expression\s*\(", re.IGNORECASE)
_CSS_ESCAPE = re.compile(r"\\")


def prepare_html(html: str) -> str:
    """`html` with its styles inlined; media queries stay. Raises Invalid naming what would be fetched."""
    _Fetches().check(html)
    return css_inline.inline(html, keep_at_rules=True, load_remote_stylesheets=False)


class _Fetches(HTMLParser):
    """Reads a page and refuses the first thing that makes a mail program go out or run something."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self._style = False

    def check(self, html: str) -> None:
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if ACTIVE.fullmatch(tag):
            raise _refused(f"a <{tag}> element")
        self._style = tag == "style"
        for name, value in attrs:
            self._check_attribute(tag, name, value or "")

    def handle_endtag(self, tag: str) -> None:
        self._style = False

    def handle_data(self, data: str) -> None:
        if self._style and (_CSS_FETCH.search(data) or _CSS_ESCAPE.search(data)):
            raise _refused("a style that fetches or hides something")

    def _check_attribute(self, tag: str, name: str, value: str) -> None:
        if name.startswith("on"):
            raise _refused(f"an {name} attribute")
        if name == "style" and (_CSS_FETCH.search(value) or _CSS_ESCAPE.search(value)):
            raise _refused("a style that fetches or hides something")
        if tag == "meta" and name == "http-equiv" and value.lower() == "refresh":
            raise _refused("a refresh")
        target = value.strip().lower()
        if tag in ("a", "area") and name == "href":
            if not target.startswith(("https://", "http://", "mailto:", "tel:", "#")):
                raise _refused("a link that is no web, mail or phone address")
        elif FETCHING.fullmatch(name) and not target.startswith(_INSIDE):
            raise _refused(f"{name} in a <{tag}> element")


def _refused(thing: str) -> Invalid:
    return Invalid(f"The HTML of the mail holds {thing}", "Take it out of the template.", field="html")
