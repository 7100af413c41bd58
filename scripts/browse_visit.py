#!/usr/bin/env python3
"""A whole job in a headless Chromium, from the call to the hand-over, at phone and laptop size: agreed, mended from the van's stock,
proved, handed over with all its files, corrected. The phone in light, the laptop in dark.

    pip install playwright          (its own browser is not needed: Debian's chromium is used)
    cargo build --release && python3 scripts/browse_visit.py target/release/wattmend pictures-folder
"""

import sys

import bench_at
from bench_at import free_port, start
from playwright.sync_api import expect

program, pictures = sys.argv[1], sys.argv[2]
# A debug build on a busy computer takes its time.
expect.set_options(timeout=30_000)
SCHEMES = {"phone": "light", "laptop": "dark"}
FILES = {
    "record.pdf": b"%PDF-",
    "customer.pdf": b"%PDF-",
    "invoice.csv": b"",
    "invoice.xml": b"<?xml",
    "label.svg": b"<svg",
    "follow-up.ics": b"BEGIN:VCALENDAR",
}


def looked_at(page, size, name):
    page.wait_for_load_state("load")
    page.wait_for_selector(".pending, [aria-busy]", state="detached", timeout=30000)
    bench_at.looked_at(page, f"{pictures}/{size}-{name}.png")


def set_up(page, at, size):
    """Prices, tester, firm, and one element on the van."""
    page.goto(f"{at}/settings")
    for label, text in {"Labour, an hour": "60", "Currency, three letters": "EUR", "Travel, or the call-out": "25",
                        "What the tax is called": "VAT", "Your tester, name and number": "tester 7"}.items():
        page.get_by_label(label).fill(text)
    page.get_by_label("Tax, %", exact=True).fill("20")
    page.get_by_label("Its limits of error").fill("earth bond=5% 0R02\ninsulation=5% 0R")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.get_by_role("link", name="Name, address, invoice, paper").click()
    for label, text in {"Name": "Holt Appliance Repair", "Technician, where you work alone": "Mara Holt",
                        "Street and number": "12 Quay Street", "Country, two letters": "IE",
                        "VAT identifier, with its country": "IE1234567T", "Terms of payment": "within 14 days",
                        "Your usual warranty": "12 months on parts and work"}.items():
        page.get_by_label(label, exact=True).fill(text)
    looked_at(page, size, "20-firm")
    page.get_by_role("button", name="Keep", exact=True).click()
    page.goto(at)
    page.get_by_role("link", name="Stock of the van").click()
    for code, what, count, least in [("AT-1178", "heating element, 2 kW", "1", "1"), ("AT-2012", "inlet valve", "3", "1")]:
        form = page.locator("form", has=page.get_by_role("button", name="Add"))
        form.get_by_label("Order code").fill(code)
        form.get_by_label("How many are there").fill(count)
        form.get_by_label("How many at least").fill(least)
        form.get_by_label("What it is").fill(what)
        if code == "AT-1178":
            form.get_by_label("One costs you, EUR").fill("38.00")
            # What is typed outlasts a reload.
            page.reload()
            expect(form.get_by_label("What it is")).to_have_value(what)
        form.get_by_role("button", name="Add").click()
        expect(page.locator(".stock")).to_contain_text(code)
    expect(page.get_by_text("All there")).to_be_visible()


def find(page, at):
    """The call, the supply, a step, and the element that is open."""
    page.goto(at)
    page.get_by_role("link", name="New job").click()
    page.get_by_role("link", name="Aldermere Tern 81").click()
    page.get_by_label("Customer").fill("Net Loft Guest House")
    page.get_by_label("In their words").fill("towels come out clean but stone cold")
    page.get_by_role("button", name="washes cold").click()
    page.get_by_label("Supply at the socket").fill("238")
    page.get_by_label("Supply at the socket").press("Enter")
    expect(page.get_by_label("Supply at the socket")).to_have_value("238 V")
    page.evaluate("document.getElementById('test').open = true")
    page.locator("#step-warm summary").first.click()
    page.locator("#step-warm").get_by_label("Watts").fill("31")
    page.locator("#step-warm").get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator("#step-warm .verdict").first).to_contain_text("NOTHING", timeout=20000)
    for _ in range(6):
        expect(page.locator("#find[aria-busy]")).to_have_count(0, timeout=20000)
        if page.locator("#find .sure").count():
            break
        asked = page.locator("#find .question").inner_text()
        if page.locator("#find").get_by_label("Ohms").count():
            page.locator("#find").get_by_label("Ohms").fill("OL")
            page.locator("#find").get_by_role("button", name="Keep", exact=True).click()
        else:
            page.locator("#find").get_by_role("button", name="could not").click()
        page.wait_for_function("asked => document.querySelector('#find .question')?.innerText !== asked", arg=asked, timeout=20000)
    expect(page.locator("#find .sure")).to_contain_text("element open")


def fold(page, name):
    page.evaluate("id => { document.getElementById(id).open = true }", name)
    return page.locator(f"#{name}")


def agree_and_mend(page, size):
    agree = fold(page, "agree")
    expect(agree).to_contain_text("EUR with VAT", timeout=20000)
    agree.get_by_label("Name of who decides").fill("A. Net")
    agree.get_by_label("I agree to this offer").check()
    agree.get_by_role("button", name="Agreed", exact=True).click()
    expect(page.locator("#agree")).to_contain_text("✓ Agreed", timeout=20000)
    mend = fold(page, "mend")
    expect(mend).to_contain_text("On the van: 1")
    mend.get_by_label("Its serial number").first.fill("E-77120")
    mend.get_by_label("What the old one read").first.fill("OL")
    mend.get_by_role("button", name="New one fitted").first.click()
    expect(page.locator("#mend")).to_contain_text("now none left", timeout=20000)
    # Nobody is asked to put it on the mains before earth and insulation have passed.
    expect(page.locator("#mend")).to_contain_text("Not yet:")
    expect(page.locator("#mend").get_by_role("button", name="yes, it works")).to_have_count(0)
    looked_at(page, size, "21-mend-locked")


SHOWN = {"protective conductor resistance": "0R09", "insulation resistance": ">299M", "protective conductor current": "0.4 mA",
         "touch current": "0.1 mA"}


def prove(page, size):
    fold(page, "prove")
    works = False
    for _ in range(30):
        page.wait_for_selector("[aria-busy]", state="detached", timeout=30000)
        ask = page.locator("#prove section[aria-label='Next test']")
        if not ask.count():
            break
        of = ask.locator("input[name=of]").input_value()
        if of == "functional test" and not works:
            looked_at(page, size, "22-prove")
            page.locator("#mend").get_by_role("button", name="yes, it works").click()
            works = True
            expect(page.locator("#mend")).to_contain_text("it works", timeout=20000)
            continue
        field = ask.locator("input[name=value]")
        if field.count():
            text = SHOWN.get(of)
            if text is None:
                row = page.locator("#prove .tests li", has_text=of).last
                text = row.evaluate("r => r.textContent.match(/Should read ([^±]*)±/)[1].trim()")
            field.fill(text)
            ask.get_by_role("button", name="Keep", exact=True).click()
        else:
            ask.get_by_role("button", name="pass").click()
        page.wait_for_function(
            "of => document.querySelector('#prove section[aria-label=\"Next test\"] input[name=of]')?.value !== of", arg=of, timeout=20000
        )
    assert works
    page.locator("#signer").fill("Mara Holt")
    page.locator("#prove").get_by_role("button", name="Sign off").click()
    expect(page.locator("#prove")).to_contain_text("✓ Signed by Mara Holt", timeout=20000)


def hand_over(page, at, size):
    page.goto(page.url.split("#")[0])
    page.get_by_role("link", name="Record, invoice, label; hand over").click()
    expect(page.get_by_text("SAFETY TEST PASSED")).to_be_visible(timeout=30000)
    page.get_by_label("Advice to the customer").fill("Use less powder.\nClean the filter once a month.")
    page.reload()
    expect(page.get_by_label("Advice to the customer")).to_have_value("Use less powder.\nClean the filter once a month.")
    page.get_by_label("Next safety test due").fill("2027-11-28")
    page.get_by_label("Invoice number").fill("R-88")
    page.get_by_label("Paid already, EUR").fill("50")
    page.get_by_label("How it was paid").fill("card")
    page.get_by_label("When").fill("2027-01-12T09:30")
    page.get_by_label("What for").fill("look at the drain hose")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.get_by_role("article")).to_contain_text("Clean the filter once a month.", timeout=20000)
    for text in ["Still open", "AT-1178", "A. Net agreed to", "12 months", "28 November 2027"]:
        expect(page.get_by_role("article")).to_contain_text(text)
    looked_at(page, size, "23-hand-over")
    for name, begins in FILES.items():
        with page.expect_download(timeout=60000) as started:
            page.locator(f".papers a[href$='/{name}']").click()
        with open(started.value.path(), "rb") as file:
            content = file.read()
        assert content.startswith(begins) and len(content) > 40, (name, content[:40])
        started.value.save_as(f"{pictures}/{size}-{name}")
    page.get_by_label("I have read this record").check()
    page.locator("#act").get_by_role("button", name="Hand over").click()
    expect(page.get_by_text("✓ Handed over by Mara Holt")).to_be_visible(timeout=30000)
    page.get_by_label("What is wrong").select_option("warranty")
    page.get_by_label("What is right").fill("24 months on parts and work")
    page.get_by_label("Why it is put right").fill("agreed on the telephone")
    page.get_by_role("button", name="Keep the correction").click()
    expect(page.get_by_role("article")).to_contain_text("24 months", timeout=20000)
    expect(page.locator("del")).to_contain_text("12 months")
    looked_at(page, size, "24-handed-over")
    page.get_by_role("link", name="Back to the job").click()
    expect(page.get_by_text("Nothing in this job is changed any more")).to_be_visible()
    expect(page.locator("#mend button").first).to_be_disabled()
    looked_at(page, size, "25-closed-sheet")
    page.goto(at)
    expect(page.get_by_role("heading", name="Handed over")).to_be_visible()
    looked_at(page, size, "26-today")
    page.goto(f"{at}/stock")
    expect(page.get_by_text("1 to buy")).to_be_visible()
    looked_at(page, size, "27-stock")


def visit(browser, size, data):
    port = free_port()
    at = f"http://127.0.0.1:{port}"
    server = start(program, port, "--data", data)
    context, page, wrong = bench_at.opened(browser, size, at)
    page.set_default_timeout(60_000)
    page.emulate_media(color_scheme=SCHEMES[size])
    set_up(page, at, size)
    find(page, at)
    agree_and_mend(page, size)
    prove(page, size)
    hand_over(page, at, size)
    assert not wrong, wrong
    context.close()
    server.terminate()
    assert server.wait(timeout=10) == 0


bench_at.at_each_size(visit)
