#!/usr/bin/env python3
"""Drives a live service test in a headless Chromium, at phone and laptop size: a new job, the test followed on the demo's
simulated socket, the guard, the verdict, the suspect; then the same on records of its own with a reload and a kill -9 in
mid-test, with nothing lost.

    pip install playwright          (its own browser is not needed: Debian's chromium is used)
    cargo build --release && python3 scripts/browse_live.py target/release/wattmend pictures-folder
"""

import os
import pathlib
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time

from playwright.sync_api import expect, sync_playwright

program, pictures = sys.argv[1], sys.argv[2]
only = sys.argv[3:]
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
SIZES = {"phone": (360, 740), "laptop": (1280, 800)}
MACHINES = pathlib.Path(__file__).parent.parent / "machines"
started = []


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def start(port, *options):
    server = subprocess.Popen(
        [program, "serve", "--listen", f"127.0.0.1:{port}", *options], stdout=subprocess.PIPE, text=True
    )
    started.append(server)
    assert "The bench is at" in server.stdout.readline()
    return server


SMALL = """[...document.querySelectorAll('a.button, nav a, button, summary, select, input:not([type=hidden])')]
  .filter(e => e.checkVisibility() && e.getBoundingClientRect().height > 0 && e.type !== 'checkbox')
  .filter(e => e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML.slice(0, 80))"""


def looked_at(page, size, name, whole=True):
    if not whole:
        page.evaluate("document.getElementById('meter')?.scrollIntoView()")
    page.screenshot(path=f"{pictures}/live-{size}-{name}.png", full_page=whole)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{name} is wider than the {size}"
    small = page.evaluate(SMALL)
    assert not small, f"{name}: targets under 44 px: {small}"


def until(page, says, timeout=60000):
    """Waits until what the page knows of the test passes a check."""
    page.wait_for_function(f"() => {{ const s = window.ribbonState?.(); return s && s.test && ({says}); }}", timeout=timeout)


def opened(browser, size, at):
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    page.set_default_timeout(15000)
    wrong = []
    page.on("pageerror", lambda e: wrong.append(str(e)))
    page.on("console", lambda m: wrong.append(m.text) if "Content Security" in m.text else None)
    page.on("request", lambda r: wrong.append(r.url) if not r.url.startswith((at, "data:")) else None)
    return context, page, wrong


def new_job(page, at):
    page.goto(at)
    page.get_by_role("link", name="New job").click()
    page.get_by_role("link", name="Aldermere Tern 81").click()
    page.get_by_role("button", name="washes cold").click()
    page.evaluate("document.getElementById('test').open = true")


def demo(browser, size):
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(port, "--demo")
    context, page, wrong = opened(browser, size, at)
    page.goto(f"{at}/sockets")
    expect(page.locator(".sockets .state")).to_have_text("heard", timeout=20000)
    looked_at(page, size, "0-sockets")
    new_job(page, at)
    looked_at(page, size, "1-test-fold")
    begun = time.monotonic()
    page.get_by_role("button", name="quayside 1").click()
    page.wait_for_url("**/live")
    until(page, "s.points > 3")
    looked_at(page, size, "2-before")
    page.get_by_role("button", name="Let it be pressed by itself").click()
    until(page, "s.test.place.step === 'left' || s.test.place.step === 'right'")
    page.wait_for_timeout(800)
    looked_at(page, size, "3-motion")
    looked_at(page, size, "3-motion-screen", whole=False)
    until(page, "s.test.run_down && s.test.run_down.until === null")
    page.wait_for_timeout(500)
    looked_at(page, size, "4-driven")
    until(page, "s.test.run_down && s.test.run_down.until !== null")
    page.wait_for_timeout(500)
    looked_at(page, size, "5-wait")
    until(page, "s.test.place.step === 'warm' && s.test.figure && s.test.figure.verdict === 'NOTHING'", 90000)
    found = time.monotonic() - begun
    page.wait_for_timeout(500)
    looked_at(page, size, "6-nothing")
    looked_at(page, size, "6-nothing-screen", whole=False)
    # A gesture each way and the keys move it; "Now" comes back.
    page.locator("canvas").focus()
    for key in ("ArrowUp", "PageUp", "-", "+", "End"):
        page.keyboard.press(key)
    page.get_by_role("button", name="What could it be?").click()
    expect(page.locator("#find .suspects .name").first).to_contain_text("element open", timeout=60000)
    named = time.monotonic() - begun
    page.wait_for_timeout(1000)
    looked_at(page, size, "7-suspect")
    looked_at(page, size, "7-suspect-screen", whole=False)
    page.emulate_media(color_scheme="dark", reduced_motion="reduce")
    page.wait_for_timeout(500)
    looked_at(page, size, "8-dark", whole=False)
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=15) == 0, "it does not end in order while pages listen"
    print(f"{size}: demo: fault on the screen after {found:.0f} s, suspect named after {named:.0f} s")


def killed(browser, size, data):
    shutil.copy(MACHINES / "aldermere-tern-81.toml", f"{data}/tern.toml")
    pathlib.Path(f"{data}/meters.toml").write_text(
        'format = 1\n[[socket]]\nname = "loft"\nkind = "simulator"\nmachine = "tern.toml"\n'
        'faults = "element=open"\nseed = 3\nspeed = 8\n'
    )
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(port, "--data", data)
    context, page, wrong = opened(browser, size, at)
    new_job(page, at)
    page.get_by_role("button", name="loft").click()
    page.wait_for_url("**/live")
    page.get_by_role("button", name="Let it be pressed by itself").click()
    until(page, "s.test.place.step === 'right'")
    # A reload fills the ribbon again from the records.
    before = page.evaluate("window.ribbonState().points")
    page.reload()
    until(page, f"s.points >= {before}")
    until(page, "s.test.place.step === 'half-spin'")
    page.wait_for_timeout(1500)
    before = page.evaluate("(() => { const s = window.ribbonState(); return [s.points, s.last, s.test.parts.length]; })()")
    server.send_signal(signal.SIGKILL)
    server.wait()
    expect(page.locator("#link")).to_be_visible(timeout=15000)
    looked_at(page, size, "9-cut-off", whole=False)
    # A sign answered meanwhile waits on the phone.
    server = start(port, "--data", data)
    expect(page.locator("#link")).to_be_hidden(timeout=30000)
    kept = context.request.get(
        f"{at}/api/sockets/1/samples?from={page.evaluate('Number(document.querySelector(`[data-from]`).dataset.from)')}&pieces=4000"
    ).json()["points"]
    old = [p for p in kept if p[0] <= before[1]]
    # At eight times the pace the last second of the clock holds eight samples.
    assert len(old) >= before[0] - 8, f"{before[0]} points were on the screen, {len(old)} are kept"
    until(page, f"s.test.parts.length >= {before[2] - 1}")
    page.reload()
    until(page, f"s.points >= {len(old)}")
    looked_at(page, size, "10-restarted")
    page.get_by_role("button", name="Let it be pressed by itself").click()
    until(page, "s.test.place.step === 'warm' && s.test.figure && s.test.figure.verdict === 'NOTHING'", 120000)
    page.get_by_role("button", name="What could it be?").click()
    expect(page.locator("#find .suspects .name").first).to_contain_text("element open", timeout=60000)
    looked_at(page, size, "11-suspect")
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=15) == 0
    print(f"{size}: killed in mid-test: {before[0]} points on the screen, {len(old)} of them kept; suspect named")


def prompt(browser, size, data):
    """How long after a sample was taken it stands on the screen, at the pace of a real meter."""
    shutil.copy(MACHINES / "aldermere-tern-81.toml", f"{data}/tern.toml")
    pathlib.Path(f"{data}/meters.toml").write_text(
        'format = 1\n[[socket]]\nname = "loft"\nkind = "simulator"\nmachine = "tern.toml"\nmeter = "fine"\n'
    )
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(port, "--data", data)
    context, page, wrong = opened(browser, size, at)
    new_job(page, at)
    page.get_by_role("button", name="loft").click()
    page.wait_for_url("**/live")
    page.wait_for_timeout(4000)
    page.evaluate("window.ribbonState().late.length = 0")
    page.wait_for_timeout(15000)
    late = sorted(page.evaluate("window.ribbonState().late"))
    print(f"{size}: {len(late)} drawings: newest sample on the screen after {late[len(late) // 2]:.0f} ms, at most {late[-1]:.0f} ms")
    assert not wrong, wrong
    context.close()
    server.terminate()
    server.wait(timeout=15)


with sync_playwright() as p:
    browser = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    for size in SIZES:
        with tempfile.TemporaryDirectory() as data:
            try:
                if not only or "demo" in only:
                    demo(browser, size)
                if not only or "killed" in only:
                    killed(browser, size, data)
                if not only or "prompt" in only:
                    with tempfile.TemporaryDirectory() as other:
                        prompt(browser, size, other)
            finally:
                for server in started:
                    server.kill()
    browser.close()
