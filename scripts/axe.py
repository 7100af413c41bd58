#!/usr/bin/env python3
"""Holds every page of the bench to the accessibility rules of axe-core (MPL-2.0), at phone and laptop size, light and dark, all
folds open; then walks each page with the Tab key alone. Any violation, trap or unseen focus ends it with 1.

    pip install playwright; npm install axe-core       (in a scratch folder; Debian's chromium is used)
    python3 scripts/axe.py target/release/wattmend node_modules/axe-core/axe.min.js [path …]

Without paths, all pages that links lead to.
"""

import sys

from bench_at import CHROMIUM, LAPTOP, PHONE, demo, pages, settled
from playwright.sync_api import sync_playwright

program, axe = sys.argv[1], open(sys.argv[2], encoding="utf-8").read()

TABBABLE = """[...document.querySelectorAll(
    'a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex="0"]')]
  .filter(e => !e.disabled && e.checkVisibility({visibilityProperty: true}) && e.getClientRects().length)"""

# Where the focus is, and whether it can be seen.
FOCUSED = f"""(() => {{
  const e = document.activeElement, all = {TABBABLE}, s = getComputedStyle(e), r = e.getBoundingClientRect();
  return {{
    place: all.indexOf(e), body: e === document.body, tag: e.outerHTML.slice(0, 90),
    seen: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2,
    onScreen: r.bottom > 0 && r.top < innerHeight,
  }};
}})()"""


def violations(page):
    page.evaluate(axe)
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")["violations"]
    return [f"{v['id']}: {v['help']}: {n['html'][:120]} ({n['failureSummary'][:200]})" for v in found for n in v["nodes"][:3]]


def walk(page):
    """Every control is reached once, in order, and shows that it is."""
    # From the very beginning, also where a page puts the focus into a field.
    page.evaluate("document.body.tabIndex = -1; document.body.focus(); document.body.removeAttribute('tabindex'); scrollTo(0, 0)")
    count = page.evaluate(f"{TABBABLE}.length")
    wrong, last = [], -1
    reached = set()
    for _ in range(4 * count + 5):
        page.keyboard.press("Tab")
        at = page.evaluate(FOCUSED)
        # A field for a date is several stops: day, month, year.
        if at["place"] == last:
            continue
        if at["body"] or at["place"] in reached:
            break
        reached.add(at["place"])
        if not at["seen"]:
            wrong.append(f"focus is not seen on {at['tag']}")
        if not at["onScreen"]:
            wrong.append(f"focus is off the screen on {at['tag']}")
        if 0 <= at["place"] < last:
            wrong.append(f"out of order: {at['tag']}")
        last = max(last, at["place"])
    # Radio buttons are one stop; all else must have been reached.
    if len(reached) < count:
        wrong.append(f"only {len(reached)} of {count} controls were reached")
    return wrong


bad, looked, told = [], 0, 0
with demo(program) as at, sync_playwright() as p:
    browser = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    page = browser.new_page()
    page.goto(at + "/jobs/4/find")
    paths = sys.argv[3:] or pages(page, at)
    for size in (PHONE, LAPTOP):
        for scheme in ("light", "dark"):
            context = browser.new_context(
                viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, reduced_motion="reduce", bypass_csp=True
            )
            page = context.new_page()
            page.set_default_navigation_timeout(120000)
            for path in paths:
                page.goto(at + path)
                settled(page)
                name = f"{path} {size[0]} {scheme}"
                bad += [f"{name}: {v}" for v in violations(page)]
                if scheme == "light":
                    bad += [f"{name}: {w}" for w in walk(page)]
                if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
                    bad.append(f"{name}: wider than the screen")
                looked += 1
                print("\n".join(bad[told:]) or f"{name}: well", flush=True)
                told = len(bad)
            context.close()
    browser.close()
print(f"{looked} views of {len(paths)} pages, {len(bad)} things wrong")
sys.exit(1 if bad else 0)
