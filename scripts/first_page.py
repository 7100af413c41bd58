#!/usr/bin/env python3
"""Measures what a start costs: until the bench listens, what it holds in memory at rest, and what the first pages weigh and take on a
slow phone (1.6 Mbit/s, 150 ms to and fro, a quarter of this machine's speed).

    pip install playwright          (its own browser is not needed: Debian's chromium is used)
    cargo build --release && python3 scripts/first_page.py target/release/wattmend
"""

import re
import socket
import subprocess
import sys
import tempfile
import time

from bench_at import CHROMIUM, PHONE, demo, free_port, started
from playwright.sync_api import sync_playwright

program = sys.argv[1]
STARTS, REST_S = 20, 20
SLOW = {"offline": False, "latency": 150, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 0.75e6 / 8}
PAINT = "performance.getEntriesByName('first-contentful-paint').map(e => Math.round(e.startTime))[0]"


def start():
    """Milliseconds until an empty bench listens; the process."""
    port = free_port()
    with tempfile.TemporaryDirectory() as data:
        begun = time.monotonic()
        server = subprocess.Popen(
            [program, "serve", "--data", data, "--listen", f"127.0.0.1:{port}"], stdout=subprocess.DEVNULL
        )
        while socket.socket().connect_ex(("127.0.0.1", port)):
            time.sleep(0.001)
        took = (time.monotonic() - begun) * 1e3
        yield took
        server.terminate()
        server.wait(timeout=10)


def starts():
    took = sorted(ms for _ in range(STARTS) for ms in start())
    print(f"listens after {took[STARTS // 2]:.0f} ms (median of {STARTS}), {took[-1]:.0f} ms at most")


def at_rest(server, says):
    time.sleep(REST_S)
    with open(f"/proc/{server}/status", encoding="ascii") as status:
        resident = int(re.search(r"VmRSS:\s+(\d+)", status.read()).group(1))
    print(f"{says}: {resident / 1024:.0f} MB resident after {REST_S} s at rest")


def on_a_phone(browser, at, path):
    width, height = PHONE
    context = browser.new_context(viewport={"width": width, "height": height})
    page = context.new_page()
    devtools = context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.send("Network.emulateNetworkConditions", SLOW)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    loaded = []
    devtools.on("Network.loadingFinished", lambda e: loaded.append(e["encodedDataLength"]))
    page.goto(at + path, wait_until="load")
    usable = page.evaluate("Math.round(performance.timing.domContentLoadedEventEnd - performance.timing.navigationStart)")
    print(f"{path}: {sum(loaded) / 1e3:.0f} kB in {len(loaded)} requests, first paint {page.evaluate(PAINT)} ms, usable {usable} ms")
    context.close()


starts()
with demo(program) as at, sync_playwright() as p:
    at_rest(started[-1].pid, "the demo, its socket recorded")
    browser = p.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
    for path in ("/", "/jobs/1", "/sockets"):
        on_a_phone(browser, at, path)
    browser.close()
