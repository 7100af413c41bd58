#!/usr/bin/env python3
"""Drives the bench in a headless Chromium as a technician would, at phone and laptop size: a new job in three taps, a typed
step, an answer, a reload and a kill -9 in mid-test, with nothing lost.

    pip install playwright          (its own browser is not needed: Debian's chromium is used)
    cargo build --release && python3 scripts/browse.py target/release/wattmend pictures-folder
"""

import signal
import sys

import bench_at
from bench_at import free_port, opened, start
from playwright.sync_api import expect

program, pictures = sys.argv[1], sys.argv[2]


def looked_at(page, size, name):
    page.wait_for_load_state("networkidle")
    bench_at.looked_at(page, f"{pictures}/{size}-{name}.png")


def machine_file(page, at, size):
    """Begun from a kind, typed wrong, led to the line, put right; a reload in between loses nothing."""
    page.goto(f"{at}/machines")
    page.get_by_role("link", name="Start one from a kind").click()
    page.get_by_label("What the rating plate says").fill("Skerry 9")
    looked_at(page, size, "8-new-machine")
    page.get_by_role("button", name="tumble dryer").click()
    text = page.get_by_label("Text of the machine file")
    good = text.input_value()
    text.fill(good.replace('kind = "heating element"', 'kind = "hearing element"', 1))
    expect(page.locator("#troubles")).to_contain_text("hearing element", timeout=15000)
    page.locator("#troubles button").first.click()
    marked = page.evaluate("(() => { const t = document.getElementById('text'); return t.value.slice(t.selectionStart, t.selectionEnd); })()")
    assert "hearing element" in marked, marked
    looked_at(page, size, "9-edit")
    page.reload()
    page.get_by_role("button", name="Take it").click()
    assert "hearing element" in text.input_value()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("not usable until")).to_be_visible()
    text.fill(good)
    expect(page.locator("#verdict")).to_contain_text("Nothing is wrong", timeout=15000)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved.", exact=True)).to_be_visible()
    expect(page.locator("#kept")).to_be_hidden()


def plate_to_machine(page, at, size):
    """A job without a machine file, its plate typed with a slip."""
    page.goto(f"{at}/new")
    page.get_by_role("button", name="Open the job without").click()
    page.get_by_label("What the rating plate says").fill("SKERY 9")
    page.get_by_role("button", name="Look for it").click()
    looked_at(page, size, "10-match")
    page.get_by_role("button", name="tumble dryer").first.click()
    expect(page.get_by_text("Choose what fits")).to_be_visible()


def game(page, at, size):
    """A hidden fault: a check, a hint, and how it went."""
    page.goto(f"{at}/practise")
    looked_at(page, size, "11-practise")
    page.get_by_text("Harder, or the same fault again").click()
    page.get_by_label("Seed").fill("3")
    page.get_by_role("button", name="Polwarren Cockle 52").click()
    expect(page.get_by_text("The customer says")).to_be_visible(timeout=20000)
    page.locator("form button[value^='step ']").first.click()
    expect(page.locator(".moves .showed")).to_have_count(1, timeout=20000)
    page.get_by_role("button", name="A hint").click()
    looked_at(page, size, "12-game")
    page.get_by_role("button", name="Stop and see").click()
    expect(page.get_by_text("It was")).to_be_visible(timeout=20000)
    looked_at(page, size, "13-score")


def visit(browser, size, data):
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(program, port, "--data", data)
    context, page, wrong = opened(browser, size, at)

    # Three taps.
    page.goto(at)
    looked_at(page, size, "1-today-empty")
    page.get_by_role("link", name="New job").click()
    page.get_by_role("link", name="Aldermere Tern 81").click()
    page.get_by_role("button", name="washes cold").click()
    expect(page.get_by_role("heading", name="Likely, before you go")).to_be_visible()
    looked_at(page, size, "2-arrive")

    page.get_by_label("Supply at the socket").fill("238")
    page.get_by_label("Supply at the socket").press("Enter")
    expect(page.get_by_label("Supply at the socket")).to_have_value("238 V")

    # A step, its meaning while it is typed.
    page.evaluate("document.getElementById('test').open = true")
    page.locator("#step-warm summary").first.click()
    watts = page.locator("#step-warm").get_by_label("Watts")
    watts.fill("31")
    expect(page.locator("#step-warm output").first).to_contain_text("low")
    looked_at(page, size, "3-step-typed")

    # The reload loses nothing that was typed.
    page.reload()
    page.evaluate("document.getElementById('test').open = true")
    page.locator("#step-warm summary").first.click()
    expect(watts).to_have_value("31")

    # Killed in mid-test: what is sent meanwhile waits in the browser, and says so.
    server.send_signal(signal.SIGKILL)
    server.wait()
    page.locator("#step-warm").get_by_role("button", name="Keep").click()
    expect(page.get_by_text("not yet sent")).to_be_visible()
    page.screenshot(path=f"{pictures}/{size}-4-not-yet-sent.png")
    server = start(program, port, "--data", data)
    expect(page.get_by_text("not yet sent")).to_be_hidden(timeout=15000)
    expect(page.locator("#step-warm .verdict").first).to_contain_text("NOTHING", timeout=15000)

    # Find: the answer's meaning before it is sent, then the fault.
    ohms = page.locator("#find").get_by_label("Ohms")
    expect(page.locator("#find[aria-busy]")).to_have_count(0, timeout=20000)
    for _ in range(4):
        if page.locator("#find .sure").count():
            break
        if ohms.count():
            ohms.fill("OL")
            expect(page.locator("#find output").first).to_contain_text("Taken as", timeout=15000)
            looked_at(page, size, "5-find-typed")
        asked = page.locator("#find .question").inner_text()
        if ohms.count():
            page.locator("#find").get_by_role("button", name="Keep").click()
        else:
            page.locator("#find").get_by_role("button", name="could not").click()
        page.wait_for_function(
            "asked => document.querySelector('#find .question')?.innerText !== asked", arg=asked, timeout=20000
        )
    expect(page.locator("#find .sure")).to_contain_text("element open")
    looked_at(page, size, "6-sure")

    # Nothing was kept twice, nothing lost.
    log = context.request.get(f"{at}/api/jobs/1/evidence").json()["evidence"]
    said = [str(e["says"]) for e in log]
    assert len(said) == len(set(said)), said
    assert any("step warm: 31 W" in s for s in said), said
    page.goto(at)
    looked_at(page, size, "7-today")
    machine_file(page, at, size)
    plate_to_machine(page, at, size)
    game(page, at, size)
    page.goto(f"{at}/jobs/1/chart")
    expect(page.get_by_text("begin here")).to_be_visible()
    looked_at(page, size, "14-chart")
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=10) == 0


bench_at.at_each_size(visit)
