"""The look, on the example pages: axe in light and dark, reflow at 320 px, targets, focus, no script needed."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.parts.axe import bring_axe, found_by_axe
from tests.parts.missing import missing
from tests.web.gallery import ORIGIN, render, window
from tests.web.page_examples import pages

pytestmark = pytest.mark.real

# WCAG 2.2 SC 2.5.8: 24 by 24 CSS px, except links inside a sentence. A box inside its label counts as the label.
SMALL_TARGETS = """() => [...document.querySelectorAll(
  'a[href], button, input:not([type=hidden]), select, textarea, summary')]
  .filter(one => one.getClientRects().length && !one.classList.contains('skip'))
  .filter(one => !(one.matches('a') && getComputedStyle(one).display === 'inline'
    && one.parentElement.textContent.trim() !== one.textContent.trim()))
  .map(one => [one, (one.closest('label') || one).getBoundingClientRect()])
  .filter(([, box]) => box.width < 24 || box.height < 24)
  .map(([one, box]) => `${one.outerHTML.slice(0, 80)} ${Math.round(box.width)}x${Math.round(box.height)}`)"""

# WCAG 1.4.12: the four distances a reader may force.
SPACED = (
    "* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important }"
    " p { margin-bottom: 2em !important }"
)
SIDEWAYS = """() => { const limit = document.documentElement.clientWidth;
  return document.documentElement.scrollWidth <= limit ? [] :
    [...document.querySelectorAll('body *')].filter(one => one.getBoundingClientRect().right > limit + 1)
      .map(one => one.outerHTML.slice(0, 80)); }"""


JAR = os.environ.get("SHELFBELL_TEST_NU", "") or str(
    Path(__file__).parents[1] / "node_modules" / "vnu-jar" / "build" / "dist" / "vnu.jar"
)


def _open(page: Page, name: str) -> None:
    page.goto(f"{ORIGIN}/page/{name}")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")


def test_axe_finds_nothing_on_any_example_page_in_light_and_dark(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    bring_axe(context)
    page, findings = context.new_page(), []
    for name in pages():
        _open(page, name)
        findings += [(name, *one) for one in found_by_axe(page, dark_too=True)]
    context.close()
    print(f"FIGURE H1_examples pages={len(pages())} schemes=2 findings={len(findings)}")
    assert not findings


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_planted_pale_text_is_found_in_either_scheme(chromium: Browser, scheme: str) -> None:
    context = window(chromium, width=1280)
    bring_axe(context)
    page = context.new_page()
    _open(page, "who")
    pale = "main * { color: #e8e8e8 !important; background: #fff !important }"
    _force(page, f"@media (prefers-color-scheme: {scheme}) {{ {pale} }}")
    found = {(where, rule) for where, rule, _ in found_by_axe(page, dark_too=True)}
    context.close()
    assert found == {("dark" if scheme == "dark" else "as opened", "color-contrast")}


def test_no_example_page_scrolls_sideways_at_320_pixels_even_with_wide_text_spacing(chromium: Browser) -> None:
    failures, looked = [], 0
    context = window(chromium, width=320)
    page = context.new_page()
    for name in pages():
        _open(page, name)
        failures += [(name, "plain", one) for one in page.evaluate(SIDEWAYS)]
        failures += [(name, "small", one) for one in page.evaluate(SMALL_TARGETS)]
        _force(page, SPACED)
        failures += [(name, "spaced", one) for one in page.evaluate(SIDEWAYS)]
        looked += 1
    context.close()
    print(f"FIGURE H2_examples pages={looked} failures={len(failures)}")
    assert not failures


def _force(page: Page, css: str) -> None:
    """Add a reader's style past the page's policy, as a browser extension does."""
    page.evaluate(
        "css => { const sheet = new CSSStyleSheet(); sheet.replaceSync(css); document.adoptedStyleSheets = [sheet] }",
        css,
    )


def test_every_stop_of_the_tab_key_shows_a_focus_ring_inside_the_window(chromium: Browser) -> None:
    failures, stops = [], 0
    context = window(chromium, width=1280)
    page = context.new_page()
    for name in ("claim_question", "slots", "check_in_wrong", "handover", "day_sheet"):
        _open(page, name)
        for _ in range(60):
            page.keyboard.press("Tab")
            seen = page.evaluate(
                "() => { const one = document.activeElement, box = one.getBoundingClientRect();"
                " const style = getComputedStyle(one);"
                " if (one === document.body) return null; return {html: one.outerHTML.slice(0, 80),"
                " ring: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,"
                " inside: box.bottom > 0 && box.top < innerHeight} }"
            )
            if seen is None:
                break
            stops += 1
            if not (seen["ring"] and seen["inside"]):
                failures.append((name, seen))
    context.close()
    print(f"FIGURE H2_focus stops={stops} failures={len(failures)}")
    assert stops > 50 and not failures


def test_a_planted_small_target_and_a_planted_wide_box_are_found(chromium: Browser) -> None:
    context = window(chromium, width=320)
    page = context.new_page()
    _open(page, "who")
    _force(page, "button.main { min-height: 0; height: 12px; padding: 0 } fieldset { width: 500px; min-width: 500px }")
    assert page.evaluate(SMALL_TARGETS) and page.evaluate(SIDEWAYS)
    context.close()


def test_the_strict_policy_blocks_nothing_that_a_page_needs(chromium: Browser) -> None:
    said: list[str] = []
    context = window(chromium, width=1280)
    page = context.new_page()
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    for name in pages():
        page.goto(f"{ORIGIN}/page/{name}")
    page.evaluate("console.error('planted')")  # whatever a page complained of has come before this
    context.close()
    assert said == ["planted"]


def test_pages_hold_no_inline_script_style_or_handler() -> None:
    for name in pages():
        html = render(name)
        assert "style=" not in html and "<style" not in html and " onclick=" not in html and "javascript:" not in html
        ours = ["shelfbell.js"] + (["live.js"] if name.startswith("day_sheet") or name == "pickups" else [])
        assert html.count("<script") == len(ours)
        assert all(f'<script src="/static/{file}" defer></script>' in html for file in ours)
        changing = html.count("<form") - html.count('method="get"')  # a form that only looks needs no proof
        proved = html.count('name="csrf_token"') + name.startswith("stop_asking")  # there the link is the proof
        assert changing == proved == html.count('method="post"'), name


def test_a_ticked_battery_box_shows_the_cautions_without_any_script(chromium: Browser) -> None:
    context = window(chromium, width=1280, script=False)
    page = context.new_page()
    page.goto(f"{ORIGIN}/page/check_in")
    cautions = page.get_by_text("Do not charge it, press it or open the battery.")
    assert not cautions.is_visible() and page.get_by_text("no charging, no posting").is_visible()
    page.get_by_label("swollen").check()
    assert cautions.is_visible()
    context.close()


def test_enter_in_a_field_of_the_check_in_means_check_in(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    page = context.new_page()
    page.goto(f"{ORIGIN}/page/check_in")
    with page.expect_request("**/check-in") as sent:
        page.get_by_label("Name", exact=True).fill("Pat")
        page.keyboard.press("Enter")
    assert "check_in=yes" in (sent.value.post_data or "") and "add_device" not in (sent.value.post_data or "")
    context.close()


def test_a_claim_code_scanned_into_another_field_gets_advice_and_sends_nothing(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    page = context.new_page()
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.post_data or "") if request.method == "POST" else None)
    page.goto(f"{ORIGIN}/page/check_in")
    page.get_by_label("What is wrong").fill("shelfbell:c/c3f5h7k9b2d4g6j8n3p5r7t9v2x4")
    assert page.get_by_text("It belongs in the scan field").is_visible()
    page.get_by_label("Name", exact=True).fill("https://shop.example.org/c/c3f5h7k9b2d4g6j8n3p5r7t9v2x4")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.name") == "name"
    with page.expect_request("**/check-in"):  # the next Enter does send: nothing was sent before it
        page.get_by_label("Name", exact=True).fill("Pat")
        page.keyboard.press("Enter")
    assert len(sent) == 1 and "name=Pat&" in sent[0]
    context.close()


def test_the_day_sheet_renews_itself_says_so_only_when_it_changed_and_can_be_paused(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    page = context.new_page()
    page.clock.install()
    page.goto(f"{ORIGIN}/page/day_sheet")
    page.evaluate("document.querySelector('#bench').dataset.old = 'yes'")
    page.clock.fast_forward(61_000)
    expect(page.locator("#bench:not([data-old])")).to_be_visible()  # a fresh one has taken its place
    assert page.locator("#sheet-said").inner_text() == ""
    lines = page.locator("#bench .line").count()
    page.evaluate("document.querySelector('#bench .line').remove()")
    page.clock.fast_forward(61_000)
    page.get_by_text("Changed: The bench, in order.").wait_for()
    assert page.locator("#bench .line").count() == lines > 0
    page.goto(f"{ORIGIN}/page/day_sheet_empty")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.removeprefix(ORIGIN)))
    page.evaluate("document.querySelector('#bench').remove()")
    page.clock.fast_forward(200_000)
    page.evaluate(
        "fetch('/static/shelfbell.css').then(answer => answer.text())"
    )  # what was asked before is seen before
    assert asked == ["/static/shelfbell.css"] and page.locator("#bench").count() == 0
    context.close()


def test_after_a_refused_form_the_summary_has_the_focus_and_its_links_lead_to_the_fields(chromium: Browser) -> None:
    context = window(chromium, width=1280)
    page = context.new_page()
    page.goto(f"{ORIGIN}/page/check_in_wrong")
    expect(page.locator(".problems")).to_be_focused()
    page.get_by_role("link", name="The deposit is not an amount").click()
    expect(page.locator("#deposit-2")).to_be_focused()
    assert page.get_by_label("Name", exact=True).input_value() == "Pat Marlow"
    context.close()


def test_forced_colours_keep_every_button_edge_and_the_code_readable(chromium: Browser) -> None:
    context = window(chromium, width=360)
    page = context.new_page()
    page.emulate_media(forced_colors="active")
    for name in ("claim_ready", "handover", "check_in"):
        page.goto(f"{ORIGIN}/page/{name}")
        widths = page.evaluate(
            "() => [...document.querySelectorAll('button, .button')].filter(one => one.getClientRects().length)"
            ".map(one => parseFloat(getComputedStyle(one).borderTopWidth))"
        )
        assert widths and min(widths) >= 1
    context.close()


def test_the_nu_html_checker_has_nothing_to_say_about_any_example_page(tmp_path: Path) -> None:
    if not Path(JAR).exists():
        pytest.skip(f"no HTML checker at {JAR}; name its jar in SHELFBELL_TEST_NU")
    java = shutil.which("java") or missing("Java", "as root: apt-get install default-jre-headless")
    names = list(pages())
    for name in names:
        (tmp_path / f"{name}.html").write_text(render(name), encoding="utf-8")
    (tmp_path / "planted.html").write_text(
        "<!doctype html><html lang=en><title>x</title><p><div></p>", encoding="utf-8"
    )
    ran = subprocess.run(
        [java, "-jar", JAR, "--format", "gnu", *map(str, sorted(tmp_path.glob("*.html")))],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    said = ran.stderr.splitlines()
    errors = [line for line in said if "planted.html" not in line]
    print(f"FIGURE H1_examples_html pages={len(names)} errors={len(errors)}")
    assert len(errors) < len(said), "the planted error was not found"
    assert not errors
