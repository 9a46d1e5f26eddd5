"""The browser that tests borrow is a real one that stays on this machine."""

from __future__ import annotations

import functools
import threading
from collections.abc import Callable, Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from playwright.sync_api import Error, Page, expect

pytestmark = pytest.mark.real


class Quiet(SimpleHTTPRequestHandler):
    """Serves a folder and says nothing."""

    def log_message(self, *args: object) -> None:
        """Nobody reads it."""


@pytest.fixture
def site(tmp_path: Path) -> Iterator[str]:
    """The address of a page with one button that writes a sentence."""
    (tmp_path / "index.html").write_text(
        "<!doctype html><title>Bench</title><h1>Bench</h1>"
        "<button onclick=\"document.querySelector('h1').textContent='Rung'\">Ring</button>"
    )
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=str(tmp_path)))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_page_is_opened_and_its_button_works(page: Page, site: str) -> None:
    page.goto(site)
    page.get_by_role("button", name="Ring").click()
    expect(page.get_by_role("heading")).to_have_text("Rung")


def test_without_scripts_the_button_does_nothing(new_page: Callable[..., Page], site: str) -> None:
    page = new_page(java_script_enabled=False, locale="de-DE")
    page.goto(site)
    page.get_by_role("button", name="Ring").click()  # the page stays
    assert page.get_by_role("heading").inner_text() == "Bench"


def test_another_machine_is_not_found(page: Page) -> None:
    with pytest.raises(Error, match="ERR_NAME_NOT_RESOLVED"):
        page.goto("http://www.example.org/")
