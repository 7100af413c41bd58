"""What the browser scripts share: a demo bench on a free port, its pages found by following links, folds opened."""

import contextlib
import os
import socket
import subprocess
import urllib.parse

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
PHONE, LAPTOP = (360, 740), (1280, 800)

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


@contextlib.contextmanager
def demo(program, *options):
    port = free_port()
    server = subprocess.Popen(
        [program, "serve", "--demo", "--listen", f"127.0.0.1:{port}", *options], stdout=subprocess.PIPE, text=True
    )
    try:
        assert "The bench is at" in server.stdout.readline()
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
