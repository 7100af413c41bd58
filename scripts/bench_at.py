"""What the browser scripts share: a demo bench on a free port, its pages found by following links, folds opened."""

import contextlib
import os
import socket
import subprocess
import tempfile
import time
import urllib.parse

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
PHONE, LAPTOP = (360, 740), (1280, 800)
SIZES = {"phone": PHONE, "laptop": LAPTOP}

# Pages that no link leads to, or only after something was typed.
MORE = [
    "/jobs/1/match?plate=Cockle",
    "/machines/new?job=1",
    "/practise/polwarren-cockle-52?seed=3",
    "/practise/polwarren-cockle-52?seed=3&m=hint&m=stop",
    "/nowhere",
]


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


started = []


def start(program, port, *options):
    """A bench on this port; who stops early ends all that were started with `kill_all`."""
    server = subprocess.Popen(
        [program, "serve", "--listen", f"127.0.0.1:{port}", *options], stdout=subprocess.PIPE, text=True
    )
    started.append(server)
    assert "The bench is at" in server.stdout.readline()
    return server


def kill_all():
    for server in started:
        server.kill()


@contextlib.contextmanager
def demo(program, *options):
    port = free_port()
    server = start(program, port, "--demo", *options)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.terminate()
        server.wait(timeout=10)


def kind_of(path):
    """Pages that differ only in which machine or complaint they show are looked at once."""
    path, _, query = path.partition("?")
    parts = [":machine" if before == "machines" and part != "new" else part for before, part in
             zip([""] + path.split("/"), path.split("/"))]
    if parts[1:2] == ["new"] and len(parts) > 2:
        parts[2] = ":machine"
    if parts[1:2] == ["practise"] and len(parts) > 2:
        parts[2] = ":machine"
    return "/".join(parts) + ("?" if query else "")


def pages(page, at, most=60):
    """Paths of the bench's pages, each kind once, in the order in which one comes to them."""
    found, waiting, kinds = [], ["/"] + MORE, set()
    while waiting and len(found) < most:
        path = waiting.pop(0)
        kind = path if path in MORE else kind_of(path)
        if kind in kinds:
            continue
        kinds.add(kind)
        answer = page.goto(at + path, timeout=120000)
        if "text/html" not in (answer.headers.get("content-type") or ""):
            continue
        found.append(path)
        for link in page.eval_on_selector_all("a[href]:not([download])", "all => all.map(a => a.href)"):
            link = urllib.parse.urlsplit(link)
            if f"{link.scheme}://{link.netloc}" == at:
                waiting.append(link.path + (f"?{link.query}" if link.query else ""))
    return found


def settled(page):
    """Worked out, nothing on its way, every fold open."""
    page.wait_for_load_state("load")
    page.wait_for_selector(".pending, [aria-busy]", state="detached", timeout=30000)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


SMALL = """[...document.querySelectorAll('a.button, nav a, button, summary, select, input:not([type=hidden])')]
  .filter(e => e.checkVisibility() && e.getBoundingClientRect().height > 0 && e.type !== 'checkbox')
  .filter(e => e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML.slice(0, 80))"""


def looked_at(page, picture, whole=True):
    """A picture of the page; nothing is wider than the screen or too small for a finger."""
    page.screenshot(path=picture, full_page=whole)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{picture}: wider than the screen"
    small = page.evaluate(SMALL)
    assert not small, f"{picture}: targets under 44 px: {small}"


def at_each_size(*runs):
    """Runs each, `run(browser, size, folder)`, at every size with a new folder for its records; what it started is ended."""
    # Here, since whoever asks the API alone has no browser.
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for size in SIZES:
            for run in runs:
                with tempfile.TemporaryDirectory() as data:
                    begun = time.monotonic()
                    try:
                        run(browser, size, data)
                    finally:
                        kill_all()
                    print(f"{size}: {run.__name__.replace('_', ' ')} well, {time.monotonic() - begun:.1f} s")
        browser.close()


def opened(browser, size, at):
    """A page of this size, and what goes wrong on it: errors, breaches of the policy, anything asked of another host."""
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    page.set_default_timeout(30000)
    wrong = []
    page.on("pageerror", lambda e: wrong.append(str(e)))
    page.on("console", lambda m: wrong.append(m.text) if "Content Security" in m.text else None)
    page.on("request", lambda r: wrong.append(r.url) if not r.url.startswith((at, "data:")) else None)
    return context, page, wrong
