#!/usr/bin/env python3
"""Takes the pictures of the bench's pages for docs/pictures, phone size, light; each under 150 kB.

    python3 scripts/page_pictures.py target/release/wattmend docs/pictures
"""

import os
import sys

from bench_at import CHROMIUM, PHONE, demo
from playwright.sync_api import sync_playwright

program, folder = sys.argv[1], sys.argv[2]

# Name, path, and what to do before the picture is taken.
PICTURES = [
    ("bench-today", "/", None),
    ("bench-arrive", "/jobs/3#arrive", None),
    ("bench-find", "/jobs/4", "document.getElementById('find').scrollIntoView()"),
    ("bench-match", "/jobs/1/match?plate=Cockle", None),
    ("bench-machines", "/machines", None),
    ("bench-machine", "/machines/aldermere-tern-81", None),
    ("bench-edit", "/machines/broken/edit", None),
    ("bench-practise", "/practise/polwarren-cockle-52?seed=3&m=hint", None),
    ("bench-score", "/practise/polwarren-cockle-52?seed=3&m=hint&m=stop", "document.getElementById('score').scrollIntoView()"),
    ("bench-chart", "/machines/polwarren-cockle-52/chart?complaint=drum%20does%20not%20turn", "document.getElementById('n1').scrollIntoView()"),
    ("bench-settings", "/settings", None),
    ("bench-data", "/settings/data", None),
]

with demo(program) as at, sync_playwright() as p:
    browser = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, device_scale_factor=1.5)
    page = context.new_page()
    page.set_default_navigation_timeout(120000)
    own = {"origin": at}
    begun = context.request.post(at + "/machines/new", form={"kind": "tumble-dryer", "name": "broken"}, headers=own)
    text = context.request.get(at + "/machines/broken/file.toml").text()
    wrong = text.replace('kind = "heating element"', 'kind = "hearing element"', 1)
    context.request.post(at + "/machines/broken/edit", form={"text": wrong}, headers=own)
    for name, path, script in PICTURES:
        page.goto(at + path)
        page.wait_for_load_state("load")
        page.wait_for_selector(".pending, [aria-busy]", state="detached", timeout=30000)
        if script:
            page.evaluate(script)
        file = f"{folder}/{name}.png"
        page.screenshot(path=file)
        size = os.path.getsize(file)
        print(f"{name}: {size // 1000} kB")
        assert size < 150_000, name
    browser.close()
