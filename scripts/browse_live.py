#!/usr/bin/env python3
"""Drives a live service test in a headless Chromium, at phone and laptop size: a new job, the test followed on the demo's
simulated socket, the guard, the verdict, the suspect; then the same on records of its own with a reload and a kill -9 in
mid-test, with nothing lost; a page that was cut off while its test was ended; two people at one device; and where a step begins
set by hand.

    pip install playwright          (its own browser is not needed: Debian's chromium is used)
    cargo build --release && python3 scripts/browse_live.py target/release/wattmend pictures-folder
"""

import pathlib
import shutil
import signal
import sys
import time

import bench_at
from bench_at import free_port, opened, start
from playwright.sync_api import Error, TimeoutError, expect

program, pictures = sys.argv[1], sys.argv[2]
only = sys.argv[3:]
MACHINES = pathlib.Path(__file__).parent.parent / "machines"


def looked_at(page, size, name, whole=True):
    if not whole:
        page.evaluate("document.getElementById('meter')?.scrollIntoView()")
    bench_at.looked_at(page, f"{pictures}/live-{size}-{name}.png", whole)


def until(page, says, timeout=60000):
    """Waits until what the page knows of the test passes a check; says what it knew where it never does."""
    try:
        page.wait_for_function(f"() => {{ const s = window.ribbonState?.(); return s && s.test && ({says}); }}", timeout=timeout)
    except TimeoutError:
        short = "(_, value) => Array.isArray(value) && value.length > 50 ? `${value.length} of them` : value"
        knew = page.evaluate(f"JSON.stringify(window.ribbonState?.(), {short})")
        print(f"waited for {says}; {page.url} has {knew}", page.inner_text("#link"))
        raise


def new_job(page, at):
    page.goto(at)
    page.get_by_role("link", name="New job").click()
    page.get_by_role("link", name="Aldermere Tern 81").click()
    page.get_by_role("button", name="washes cold").click()
    page.evaluate("document.getElementById('test').open = true")


def followed(browser, size, data, more):
    """The test of a new job, followed on a made-up machine: where the bench is, its port, the server, and as `opened`."""
    shutil.copy(MACHINES / "aldermere-tern-81.toml", f"{data}/tern.toml")
    pathlib.Path(f"{data}/meters.toml").write_text(
        f'format = 1\n[[socket]]\nname = "loft"\nkind = "simulator"\nmachine = "tern.toml"\n{more}'
    )
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(program, port, "--data", data)
    context, page, wrong = opened(browser, size, at)
    new_job(page, at)
    page.get_by_role("button", name="loft").click()
    page.wait_for_url("**/live")
    return at, port, server, context, page, wrong


def demo(browser, size, _):
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(program, port, "--demo")
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
    at, port, server, context, page, wrong = followed(browser, size, data, 'faults = "element=open"\nseed = 3\nspeed = 8\n')
    page.get_by_role("button", name="Let it be pressed by itself").click()
    # What is waited for stays once it is there: at this pace a step goes by in seconds.
    until(page, "s.test.place.number >= 4")
    # A reload fills the ribbon again from the records.
    before = page.evaluate("window.ribbonState().points")
    page.reload()
    until(page, f"s.points >= {before}")
    until(page, "s.test.place.number >= 5")
    page.wait_for_timeout(1500)
    before = page.evaluate("(() => { const s = window.ribbonState(); return [s.points, s.last, s.test.parts.map((p) => p.step)]; })()")
    server.send_signal(signal.SIGKILL)
    server.wait()
    expect(page.locator("#link")).to_be_visible(timeout=15000)
    looked_at(page, size, "9-cut-off", whole=False)
    # A sign answered meanwhile waits on the phone.
    server = start(program, port, "--data", data)
    expect(page.locator("#link")).to_be_hidden(timeout=30000)
    kept = context.request.get(
        f"{at}/api/sockets/1/samples?from={page.evaluate('Number(document.querySelector(`[data-from]`).dataset.from)')}&pieces=4000"
    ).json()["points"]
    old = [p for p in kept if p[0] <= before[1]]
    # At eight times the pace the last second of the clock holds eight samples.
    assert len(old) >= before[0] - 8, f"{before[0]} points were on the screen, {len(old)} are kept"
    page.reload()
    until(page, f"s.points >= {len(old)}")
    # The step that was cut off may be seen otherwise now, and with it the one before; the rest is as it was.
    until(page, f"{before[2][:-2]}.every((step) => s.test.parts.some((p) => p.step === step))")
    looked_at(page, size, "10-restarted")
    page.get_by_role("button", name="Let it be pressed by itself").click()
    until(page, "s.test.parts.some((p) => p.step === 'warm' && p.verdict === 'NOTHING')", 120000)
    page.get_by_role("button", name="What could it be?").click()
    expect(page.locator("#find .suspects .name").first).to_contain_text("element open", timeout=60000)
    looked_at(page, size, "11-suspect")
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=15) == 0
    print(f"{size}: killed in mid-test: {before[0]} points on the screen, {len(old)} of them kept; suspect named")


def ended_meanwhile(browser, size, data):
    """What is read aloud, where the keyboard stays, and a page that was cut off while its test was ended elsewhere."""
    _, port, server, context, page, wrong = followed(browser, size, data, "speed = 8\n")
    other = free_port()
    expect(page.locator("#meter-state")).to_have_text("The meter is heard.", timeout=20000)
    assert page.locator("#meter").get_attribute("role") is None
    page.evaluate("window.said = 0; new MutationObserver((all) => { window.said += all.length; })"
                  ".observe(document.getElementById('meter-state'), { childList: true, subtree: true, characterData: true })")
    # Pressed by keyboard, the keyboard stays on what can be pressed next.
    page.get_by_role("button", name="I entered the test").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="I pressed")).to_be_focused(timeout=15000)
    assert page.evaluate("window.said") == 0, "watts are read aloud"
    server.send_signal(signal.SIGKILL)
    server.wait()
    expect(page.locator("#link")).to_be_visible(timeout=15000)
    elsewhere = start(program, other, "--data", data)
    ended = context.request.post(f"http://127.0.0.1:{other}/api/jobs/1/trace", data={"what": "end"})
    assert ended.ok, ended.text()
    elsewhere.terminate()
    elsewhere.wait(timeout=15)
    server = start(program, port, "--data", data)
    expect(page.get_by_text("The test has ended")).to_be_visible(timeout=30000)
    expect(page.get_by_text("This page stops nothing")).to_be_visible()
    looked_at(page, size, "12-ended-meanwhile")
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=15) == 0
    print(f"{size}: a page that was cut off learns that its test has ended")


def two_people(browser, size, data):
    """What one typed while the bench was away goes out as theirs, and holds nobody else up."""
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(program, port, "--data", data)
    context, page, wrong = opened(browser, size, at)
    secret = "kettle barnacle violin"
    for name, role in (("Ann", "technician"), ("Odo", "office")):
        form = {"name": name, "role": role, "passphrase": secret}
        assert context.request.post(f"{at}/settings/people", form=form).ok
    new_job(page, at)
    job = page.url
    supply, words = page.get_by_label("Supply at the socket"), page.get_by_label("In the customer's words")

    def keep(field, text):
        page.evaluate("document.getElementById('arrive').open = true")
        field.fill(text)
        field.locator("xpath=ancestor::form").get_by_role("button").first.click()

    def log_in(name):
        context.clear_cookies()
        page.goto(f"{at}/login")
        page.get_by_label("Name").fill(name)
        page.get_by_label("Passphrase").fill(secret)
        page.get_by_role("button", name="Open").click()
        page.wait_for_url(lambda url: not url.endswith("/login"))
        # A page that has sent what waited loads itself anew, which may cut off the way to another: then once more.
        for last in (False, True):
            try:
                page.goto(job)
                break
            except Error as error:
                if last or "interrupted by another navigation" not in str(error):
                    raise
                page.wait_for_load_state()

    server.send_signal(signal.SIGKILL)
    server.wait()
    keep(supply, "238")
    expect(page.get_by_text("1 not yet sent")).to_be_visible()
    context.clear_cookies()
    server = start(program, port, "--data", data)
    page.wait_for_timeout(4000)
    log_in("Odo")
    expect(page.get_by_text("typed by somebody else")).to_be_visible()
    # A reading is not for the office: refused, not held; what comes after it is sent.
    keep(supply, "230")
    expect(page.get_by_text("your role in the firm does not do this")).to_be_visible(timeout=15000)
    keep(words, "it hums")
    page.wait_for_function("() => JSON.parse(localStorage.getItem('wattmend.not-yet-sent'))?.length === 1")
    log_in("Ann")
    page.wait_for_function("() => localStorage.getItem('wattmend.not-yet-sent') === null")
    says = [str(e["says"]) for e in context.request.get(f"{at}/api/jobs/1/evidence").json()["evidence"]]
    assert any("238 V" in s for s in says) and any("it hums" in s for s in says), says
    assert not any("230" in s for s in says), says
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=15) == 0
    print(f"{size}: what each of two people typed is kept, each as their own")


def prompt(browser, size, data):
    """How long after a sample was taken it stands on the screen, at the pace of a real meter."""
    _, _, server, context, page, wrong = followed(browser, size, data, 'meter = "fine"\n')
    page.wait_for_timeout(4000)
    page.evaluate("window.ribbonState().late.length = 0")
    page.wait_for_timeout(15000)
    late = sorted(page.evaluate("window.ribbonState().late"))
    print(f"{size}: {len(late)} drawings: newest sample on the screen after {late[len(late) // 2]:.0f} ms, at most {late[-1]:.0f} ms")
    assert not wrong, wrong
    context.close()
    server.terminate()
    server.wait(timeout=15)


def edges(browser, size, data):
    """Where a step begins is put right by hand: by buttons while the test runs, by table, drag and long press afterwards."""
    _, _, server, context, page, wrong = followed(browser, size, data, 'faults = "element=open"\nseed = 3\nspeed = 8\n')
    page.get_by_role("button", name="Let it be pressed by itself").click()
    until(page, "s.test.place.step === 'fill' || s.test.parts.length >= 5")
    turning = "s.test.parts.find((p) => p.step === 'right')"
    until(page, f"{turning} !== undefined")

    def card():
        page.get_by_role("button", name="All").click()
        page.wait_for_timeout(400)
        return page.locator(f".card[data-part='{page.evaluate('window.ribbonState().test.parts.findIndex((p) => p.step === `right`)')}']")

    says, bar = page.locator("#edge-says"), page.locator("#edge")
    card().click()
    expect(says).to_contain_text("begins at")
    looked_at(page, size, "13-edge", whole=False)
    for _ in range(4):
        page.get_by_role("button", name="1 s later").click()
    expect(says).to_contain_text(", was")
    page.get_by_role("button", name="It begins here").click()
    until(page, f"{turning}?.by_hand === true")
    expect(bar).to_be_hidden()
    page.get_by_role("button", name="What could it be?").click()
    expect(page.get_by_text("The test has ended")).to_be_visible(timeout=60000)
    until(page, f"{turning}?.by_hand === true")
    # By the keyboard alone, from the table, and taken back.
    page.get_by_text("The same as a table").click()
    page.get_by_role("button", name="Step 4 begins at").last.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="1 s earlier")).to_be_focused()
    expect(says).to_contain_text("Set by hand")
    page.get_by_role("button", name="As the trace has it").click()
    until(page, f"{turning}?.by_hand === false")
    # By a finger: a long press only says why; a tap takes it up, and it is drawn to another place.
    box = card().bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + 8)
    page.mouse.down()
    page.wait_for_timeout(800)
    page.mouse.up()
    expect(says).to_contain_text("begins at")
    expect(page.get_by_role("button", name="It begins here")).to_be_hidden()
    card().click()
    expect(page.get_by_role("button", name="It begins here")).to_be_visible()
    strip = page.locator("canvas").bounding_box()
    y = strip["y"] + page.evaluate(f"(() => {{ const s = window.ribbonState(); return window.wattmend.ribbon.y({turning}.from); }})()")
    page.mouse.move(strip["x"] + 40, y)
    page.mouse.down()
    page.mouse.move(strip["x"] + 40, y + 14, steps=5)
    page.mouse.up()
    expect(says).to_contain_text(", was")
    looked_at(page, size, "14-edge-drawn", whole=False)
    page.get_by_role("button", name="It begins here").click()
    until(page, f"{turning}?.by_hand === true")
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=15) == 0
    print(f"{size}: where a step begins was set by hand, taken back, and drawn")


RUNS = {"demo": demo, "killed": killed, "ended": ended_meanwhile, "people": two_people, "prompt": prompt, "edges": edges}

bench_at.at_each_size(*[RUNS[name] for name in only or RUNS])
