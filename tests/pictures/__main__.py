"""Takes the pictures of the README: the demo at one fixed moment, in Chromium. `python -m tests.pictures [NAME …]`"""

from __future__ import annotations

import io
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from notify.cli.demo_shop import PEOPLE
from notify.cli.demo_stage import Stage
from notify.core.tickets import OPEN_PHASES
from notify.store import tickets
from notify.store.tickets import Ticket
from tests.parts.browser import CHROMIUM, FLAGS
from tests.parts.print_lab import raster
from tests.parts.town import town

FOLDER = Path(__file__).parent
PORT = 8600
LARGEST = 150_000  # bytes
COLOURS = 96


@dataclass(frozen=True, slots=True)
class Scene:
    """The demo's shop as it is served, and a browser."""

    stage: Stage
    base: str
    browser: Browser

    def page(self, width: int, *, height: int = 860) -> Page:
        """A fresh page of that width, in CSS pixels."""
        return self.browser.new_context(viewport={"width": width, "height": height}, locale="en-GB").new_page()

    def desk(self, width: int = 1280, *, height: int = 860) -> Page:
        """The counter's page with the owner signed in."""
        page, (name, _, password, _) = self.page(width, height=height), PEOPLE[0]
        page.goto(f"{self.base}/sign-in")
        page.fill("#name", name)
        page.fill("#password", password)
        with page.expect_navigation():
            page.press("#password", "Enter")
        return page

    def open(self, page: Page, path: str) -> Page:
        """Opens a page and stops everything if it is not there."""
        answer = page.goto(path if path.startswith("http") else f"{self.base}{path}")
        if answer is None or answer.status != 200:
            sys.exit(f"{path} answers {answer.status if answer else 'nothing'}: no picture is taken")
        return page

    def ticket(self, device: str) -> Ticket:
        """The ticket of a device in the demo's stories that is still here."""
        with self.stage.ctx.db.read(self.stage.shop_id) as unit:
            return next(one for one in tickets.tickets_in(unit, OPEN_PHASES) if one.device == device)

    def claim(self, words: str) -> str:
        """The claim page that the demo names with these words."""
        return self.stage.links[words]


@contextmanager
def scene() -> Iterator[Scene]:
    """The demo's past played up to its afternoon, served, and a browser beside it."""
    with tempfile.TemporaryDirectory() as home, ExitStack() as stack:
        stage, base = stack.enter_context(town(Path(home), port=PORT))
        browser = stack.enter_context(sync_playwright()).chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        stack.callback(browser.close)
        yield Scene(stage, base, browser)


def shot(page: Page, *, full: bool = False) -> bytes:
    """What the page shows, without the text cursor."""
    return page.screenshot(full_page=full, caret="hide", animations="disabled")


def check_in(s: Scene) -> bytes:
    """Half typed."""
    page = s.open(s.desk(height=900), "/check-in")
    for field, text in {
        "name": "Pat Moss", "phone": "07700 900456", "email": "pat@example.net", "device-1": "Kestrel pocket radio",
        "fault-1": "No sound from the left; the cat was involved", "price_limit-1": "35", "shelf-1": "B4",
    }.items():  # fmt: skip
        page.fill(f"#{field}", text)
    for box in ("phone_purposes-repair", "phone_purposes-pickup", "email_purposes-repair", "email_purposes-pickup"):
        page.check(f"#{box}")
    page.select_option("#device_class-1", "radio")
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    return shot(page)


def claim_ticket(s: Scene) -> bytes:
    """The paper, as its printer's dots."""
    page, ticket = s.desk(), s.ticket("Marlinspike camera")
    pdf = page.context.request.get(f"{s.base}/tickets/{ticket.id}/print/roll80.pdf").body()
    out = io.BytesIO()
    Image.fromarray(raster(pdf, dots_per_inch=130)[0]).save(out, "PNG")
    return out.getvalue()


def handover(s: Scene) -> bytes:
    """Opened by a scan, as a scanner types it."""
    page = s.open(s.desk(height=900), "/")
    page.fill("#scan", s.claim("two devices, one of them ready: choose a pickup time"))
    with page.expect_navigation():
        page.press("#scan", "Enter")
    return shot(page)


def staff(path: str, *, height: int = 860) -> Callable[[Scene], bytes]:
    """A page of the counter."""
    return lambda s: shot(s.open(s.desk(height=height), path))


def customer(words: str, *, more: str = "", height: int = 760) -> Callable[[Scene], bytes]:
    """A customer's page on a phone."""
    return lambda s: shot(s.open(s.page(360, height=height), s.claim(words) + more))


def ticket(s: Scene) -> bytes:
    """A ticket that waits for its customer."""
    return shot(s.open(s.desk(height=760), f"/tickets/{s.ticket('Barnacle film camera').id}"))


def bench(s: Scene) -> bytes:
    """The bench in order, with each device's range, and a better order."""
    page = s.open(s.desk(height=720), "/")
    page.evaluate("document.querySelector('#bench').scrollIntoView()")
    return shot(page)


def ready(s: Scene) -> bytes:
    """When a device will probably be ready, and that its promise is in danger."""
    page = s.open(s.desk(height=620), f"/tickets/{s.ticket('Breakwater table radio').id}")
    page.evaluate("document.querySelector('#promise-part').scrollIntoView()")
    return shot(page)


PICTURES: Mapping[str, Callable[[Scene], bytes]] = {
    "check_in": check_in,
    "claim_ticket": claim_ticket,
    "day_sheet": staff("/", height=1080),
    "bench": bench,
    "ticket": ticket,
    "ready": ready,
    "promises": staff("/promises", height=760),
    "claim_question": customer("a question about the price: answer it"),
    "deliveries": staff("/deliveries", height=520),
    "mail": staff("/demo/mail", height=700),
    "claim_ready": customer("two devices, one of them ready: choose a pickup time"),
    "slots": customer("two devices, one of them ready: choose a pickup time", more="/slots"),
    "claim_booked_german": customer("in German: unrepaired, a pickup booked"),
    "pickups": staff("/pickups", height=900),
    "handover": handover,
    "calls": staff("/calls", height=560),
}


def small(png: bytes) -> bytes:
    """The same picture with few colours; ends the run if it is still too large for a README."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    if len(out.getvalue()) > LARGEST:
        sys.exit(f"a picture has {len(out.getvalue())} bytes, more than {LARGEST}")
    return out.getvalue()


def main(wanted: list[str]) -> None:
    """Takes the named pictures, or all."""
    with scene() as s:
        for name in wanted or PICTURES:
            file = FOLDER / f"{name}.png"
            file.write_bytes(small(PICTURES[name](s)))
            file.chmod(0o644)  # the running service keeps new files to itself
            print(name)


if __name__ == "__main__":
    main(sys.argv[1:])
