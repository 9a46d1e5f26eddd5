"""Renders the example pages and shows them to a real Chromium without a server, under the strict policy."""

from __future__ import annotations

import argparse
import io
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import qrcode
import qrcode.image.svg
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from playwright.sync_api import Browser, BrowserContext, Route, sync_playwright

from tests.parts.browser import CHROMIUM, FLAGS
from tests.web.page_examples import pages

ROOT = Path(__file__).parents[2]
ORIGIN = "http://shop.example.test"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "frame-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'self'; object-src 'none'"
)
TYPES = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}


@cache
def environment() -> Environment:
    """Jinja as the server will set it up: everything escaped, nothing undefined."""
    return Environment(
        loader=FileSystemLoader(ROOT / "templates" / "pages"), autoescape=True, undefined=StrictUndefined
    )


@cache
def render(name: str) -> str:
    """The HTML of one example; each test that looks at it sees the same."""
    template, context = pages()[name]
    return environment().get_template(template).render(context)


@cache
def _qr() -> bytes:
    out = io.BytesIO()
    qrcode.make("https://shelf.example.org/c/example", image_factory=qrcode.image.svg.SvgPathImage).save(out)
    return out.getvalue()


def _answer(route: Route) -> None:
    """Stand in for the server: /page/<example>, /static/<file>, any .svg as a QR code, a letter for /html."""
    path = route.request.url.removeprefix(ORIGIN).split("?")[0].split("#")[0]
    headers = {"Content-Security-Policy": POLICY, "X-Content-Type-Options": "nosniff"}
    if path.startswith("/page/"):
        kind, body = "text/html; charset=utf-8", render(path.removeprefix("/page/")).encode()
    elif path.startswith("/static/"):
        file = ROOT / "notify" / "web" / "static" / path.removeprefix("/static/")
        kind, body = TYPES[file.suffix], file.read_bytes()
    elif path.endswith(".svg"):
        kind, body = "image/svg+xml", _qr()
    elif path.endswith("/html"):
        kind = "text/html; charset=utf-8"
        body = b"<!doctype html><html lang=en><title>Letter</title><body><main><h1>Your radio is ready</h1></main>"
    else:
        route.fulfill(status=404, body="")
        return
    route.fulfill(status=200, headers={**headers, "Content-Type": kind}, body=body)


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's Chromium."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


def window(browser: Browser, *, width: int, dark: bool = False, script: bool = True) -> BrowserContext:
    """A browser window whose every request is answered here."""
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme="dark" if dark else "light",
        java_script_enabled=script,
    )
    context.route("**/*", _answer)
    return context


def main() -> None:
    """Write a picture of each example at two widths, light and dark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--only", default="", help="names that contain this")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    with chromium() as browser:
        for width, dark in ((360, False), (1280, False), (360, True), (1280, True)):
            context = window(browser, width=width, dark=dark)
            page = context.new_page()
            page.on("console", lambda said: print("console:", said.text))
            for name in (name for name in pages() if options.only in name):
                page.goto(f"{ORIGIN}/page/{name}")
                shade = "dark" if dark else "light"
                page.screenshot(path=options.folder / f"{name}-{width}-{shade}.png", full_page=True)
            context.close()


if __name__ == "__main__":
    main()
