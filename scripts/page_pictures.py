#!/usr/bin/env python3
"""Takes the pictures of the bench's pages for docs/pictures, phone size, light; each under 150 kB.

    python3 scripts/page_pictures.py target/release/wattmend docs/pictures
"""

import os
import sys

from bench_at import CHROMIUM, PHONE, demo
from playwright.sync_api import sync_playwright

program, folder = sys.argv[1], sys.argv[2]

# Of the visit: name, path, and what to do before the picture is taken.
VISIT = [
    ("bench-today", "/", None),
    ("bench-arrive", "/jobs/3#arrive", None),
    ("bench-find", "/jobs/4", "document.getElementById('find').scrollIntoView()"),
]
FOUND = [("bench-agree", "/jobs/4#agree", "document.getElementById('agree').scrollIntoView()")]
AGREED = [
    ("bench-mend", "/jobs/4#mend", "document.getElementById('mend').scrollIntoView()"),
    ("bench-prove", "/jobs/4#prove", "document.getElementById('prove').scrollIntoView()"),
    ("bench-hand-over", "/jobs/4/hand-over", None),
]
BESIDE = [
    ("bench-match", "/jobs/1/match?plate=Cockle", None),
    ("bench-stock", "/stock", None),
    ("bench-sockets", "/sockets", None),
    ("bench-machines", "/machines", None),
    ("bench-machine", "/machines/aldermere-tern-81", None),
    ("bench-edit", "/machines/broken/edit", None),
    ("bench-practise", "/practise/polwarren-cockle-52?seed=3&m=hint", None),
    ("bench-score", "/practise/polwarren-cockle-52?seed=3&m=hint&m=stop", "document.getElementById('score').scrollIntoView()"),
    ("bench-chart", "/machines/polwarren-cockle-52/chart?complaint=drum%20does%20not%20turn", "document.getElementById('n1').scrollIntoView()"),
    ("bench-settings", "/settings", None),
    ("bench-data", "/settings/data", None),
]


def taken(page, name):
    file = f"{folder}/{name}.png"
    page.screenshot(path=file)
    size = os.path.getsize(file)
    print(f"{name}: {size // 1000} kB")
    assert size < 150_000, name


def take(page, pictures):
    for name, path, script in pictures:
        # Another place of the same page would not be asked for again.
        page.goto("about:blank")
        page.goto(at + path)
        page.wait_for_load_state("load")
        page.wait_for_selector(".pending, [aria-busy]", state="detached", timeout=30000)
        if script:
            page.evaluate(script)
        taken(page, name)


def live(page):
    """The test of a new job on the demo's socket, from the step that turns to the one that draws nothing."""
    page.goto(at)
    page.get_by_role("link", name="New job").click()
    page.get_by_role("link", name="Aldermere Tern 81").click()
    page.get_by_role("button", name="washes cold").click()
    page.evaluate("document.getElementById('test').open = true")
    page.get_by_role("button", name="quayside 1").click()
    page.wait_for_url("**/live")
    page.get_by_role("button", name="Let it be pressed by itself").click()
    until = "() => { const s = window.ribbonState?.(); return s?.test && (%s); }"
    page.wait_for_function(until % "s.test.place.step === 'half-spin' && s.test.parts.length >= 4", timeout=90000)
    page.locator(".card[data-part='3']").click()
    taken(page, "bench-edge")
    page.get_by_role("button", name="Leave").click()
    page.wait_for_function(until % "s.test.run_down?.until", timeout=90000)
    taken(page, "bench-wait")
    page.wait_for_function(until % "s.test.figure?.verdict === 'NOTHING'", timeout=90000)
    taken(page, "bench-live")


with demo(program) as at, sync_playwright() as p:
    browser = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, device_scale_factor=1.5)
    page = context.new_page()
    page.set_default_navigation_timeout(120000)

    def post(path, **form):
        form = {name.replace("_", "-"): value for name, value in form.items()}
        answer = context.request.post(at + path, form=form, headers={"origin": at})
        assert answer.ok, f"{path}: {answer.text()}"

    take(page, VISIT)
    live(page)
    post("/jobs/4/say", what="check", check="ohms element.1 element.2 off element.1", answer="OL")
    post("/jobs/4/agree", what="prices", price_element="38.00", assume_age="9", assume_new_price="550")
    # Prices as a small firm may have them, and the instruments that the demo owns.
    page.goto(at + "/settings")
    page.locator("[name=rate]").fill("58.00")
    page.locator("[name=rate]").press("Enter")
    page.wait_for_load_state("load")
    take(page, FOUND)
    post("/jobs/4/agree", what="decide", offer="131.00 EUR: a new element", name="A. Net", decision="agreed", tick="yes", parts="element")
    post("/jobs/4/mend", what="fitted", part="element", done="fitted", order="AT-1178", serial="77", old="OL")
    post("/jobs/4/prove", what="safety", of="visual inspection", answer="pass")
    take(page, AGREED)
    post("/machines/new", kind="tumble-dryer", name="broken")
    text = context.request.get(at + "/machines/broken/file.toml").text()
    post("/machines/broken/edit", text=text.replace('kind = "heating element"', 'kind = "hearing element"', 1))
    take(page, BESIDE)
    browser.close()
