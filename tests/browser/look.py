"""Opens a page in Chromium and says what it does: messages, requests, faults of accessibility, widths, charts.

A question comes as JSON on standard input, the answer goes as JSON to standard output.
"""

import json
import sys
import time

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

HEIGHT = 900
# A4 between margins of 10 mm, at 96 to the inch.
SHEET_WIDTH = 718


def watched(context):
    """A page with lists of what it says and what it asks for."""
    page = context.new_page()
    messages, requests = [], []
    page.on("console", lambda message: messages.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: messages.append(f"exception: {error}"))

    def asked(request):
        # The page itself, and texts that it made itself.
        if not request.url.startswith(("file:", "data:", "blob:")):
            requests.append(request.url)

    page.on("request", asked)
    return page, messages, requests


def faults(page):
    """Serious faults of accessibility, each with the first place."""
    found = Axe().run(page).response["violations"]
    return [
        f"{fault['id']} ({fault['impact']}): {fault['nodes'][0]['html'][:200]}"
        for fault in found
        if fault["impact"] in ("serious", "critical")
    ]


def read_chart(page, name):
    """Values under the pointer, and what the buttons and the keys do to one chart."""
    chart = page.locator(f"[data-chart='{name}']")
    plot = chart.locator(".u-over").first
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    value = chart.locator(".u-legend").first.locator(".u-value")
    page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + box["height"] / 2)
    page.wait_for_timeout(50)
    pointed = value.all_inner_texts()
    others = chart.locator(".u-legend").last.locator(".u-value").all_inner_texts()
    page.mouse.move(0, 0)
    chart.get_by_role("button", name="closer").click()
    chart.locator("[role=img]").first.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(50)
    closer = value.all_inner_texts()
    page.keyboard.press("ArrowRight")
    page.wait_for_timeout(50)
    next_one = value.all_inner_texts()
    return {"pointed": pointed, "others": others, "closer": closer, "next": next_one}


def printed_width(browser, page_path):
    """How wide the page is as it would be printed."""
    page = browser.new_page(viewport={"width": SHEET_WIDTH, "height": HEIGHT})
    page.goto("file://" + page_path)
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.wait_for_timeout(200)
    return page.evaluate("document.documentElement.scrollWidth")


def report(browser, question):
    """A page of the report."""
    answer = {"overflows": [], "faults": [], "messages": [], "requests": []}
    for width, scheme in ((360, "light"), (800, "dark"), (1280, "light")):
        context = browser.new_context(viewport={"width": width, "height": HEIGHT}, color_scheme=scheme)
        page, messages, requests = watched(context)
        page.goto("file://" + question["page"])
        page.wait_for_timeout(300)
        if page.evaluate("document.documentElement.scrollWidth") > width:
            answer["overflows"].append(width)
        answer["faults"] += [f"{width}: {fault}" for fault in faults(page)]
        answer["messages"] += messages
        answer["requests"] += requests
    if printed_width(browser, question["page"]) > SHEET_WIDTH:
        answer["overflows"].append("print")
    answer["charts"] = page.locator("[data-chart]").count()
    answer["drawn"] = page.locator("[data-chart]:has(canvas)").count()
    answer["read"] = {name: read_chart(page, name) for name in question["charts"]}
    answer["ladder"] = page.locator(".ladder .decide").all_text_contents()
    return answer


def until(page, condition, most_s=60):
    """Waits until a condition holds in the page; its content security policy forbids the driver's own way."""
    end_s = time.monotonic() + most_s
    while not page.evaluate(condition):
        if time.monotonic() > end_s:
            raise TimeoutError(condition)
        page.wait_for_timeout(50)


def at_rest(page):
    """Waits until the simulated week has followed the last change."""
    page.wait_for_timeout(200)
    until(page, "document.querySelector('#course-place').children.length > 0")


def state(page):
    """What stands in the workbench."""
    return {
        "text": page.locator("#text").input_value(),
        "ladder": page.locator(".ladder .decide").all_text_contents(),
        "faults": [text for text in page.locator(".fault").all_text_contents() if text],
        "invalid": page.locator("#fields [aria-invalid]").count(),
        "stale": page.locator("#stale").is_visible(),
    }


def saved(page, button):
    """The text that a button saves, and its name."""
    with page.expect_download() as download:
        page.get_by_role("button", name=button).click()
    with open(download.value.path(), encoding="utf-8", newline="") as file:
        return {"name": download.value.suggested_filename, "text": file.read()}


def workbench(browser, question):
    """The workbench in the hands of somebody who pulls at everything."""
    answer = {"overflows": [], "faults": []}
    context = browser.new_context(viewport={"width": 1280, "height": HEIGHT}, accept_downloads=True)
    page, messages, requests = watched(context)
    page.goto(question["page"])
    until(page, "document.querySelector('#figures').children.length > 0")
    at_rest(page)
    answer["start"] = state(page)
    answer["wasm_bytes"] = page.evaluate("atob(document.querySelector('#wasm').textContent.trim()).length")

    slider = page.locator("[data-key='storage.capacitor[0].capacitance'] input[type=range]")
    slider.focus()
    for _ in range(7):
        page.keyboard.press("ArrowRight")
    at_rest(page)
    answer["pulled"] = state(page)
    answer["header"] = saved(page, "save the C header")
    answer["module"] = saved(page, "save the Rust module")
    answer["node"] = saved(page, "save the node file")
    page.keyboard.press("Control+z")
    answer["undone"] = state(page)
    page.keyboard.press("Control+Shift+Z")
    answer["redone"] = state(page)

    field = page.locator("[data-key='storage.capacitor[0].esr'] input[type=text]")
    field.fill("2.2 V")
    field.press("Enter")
    answer["refused"] = state(page)
    answer["fault"] = page.locator("[data-key='storage.capacitor[0].esr'] .fault").inner_text()
    answer["faults"] += [f"refused: {fault}" for fault in faults(page)]
    field.fill("1.9 ohm")
    field.press("Enter")
    answer["mended"] = state(page)

    page.get_by_role("button", name="make a link").click()
    until(page, "document.querySelector('#address').value !== ''")
    other, more_messages, more_requests = watched(context)
    other.goto(page.locator("#address").input_value())
    until(other, "document.querySelector('#figures').children.length > 0")
    answer["linked"] = state(other)
    messages += more_messages
    requests += more_requests

    page.locator("#days").fill("3660")
    page.get_by_role("button", name="simulate").click()
    until(page, "document.querySelector('#progress').value > 0", 60)
    page.get_by_role("button", name="cancel").click()
    answer["cancelled"] = page.locator("#status").inner_text()
    page.locator("#days").fill("40")
    page.get_by_role("button", name="simulate").click()
    until(page, "document.querySelector('#course-place').innerText.includes('40 days of')", 120)

    page.locator("#file").set_input_files(question["other"])
    until(page, "document.title.startsWith('display-case')")
    at_rest(page)
    answer["opened"] = state(page)
    page.locator("#file").set_input_files(question["measured"][:1])
    until(page, "document.querySelector('#stale').hidden === false")
    answer["alone"] = page.locator("[data-key='boot.profile'] .fault").inner_text()
    page.locator("#file").set_input_files(question["measured"])
    until(page, "document.querySelector('#stale').hidden")
    at_rest(page)
    answer["measured"] = state(page)
    answer["measured_header"] = saved(page, "save the C header")
    other.goto("file://" + question["measured_page"])
    until(other, "document.querySelector('#figures').children.length > 0")
    answer["embedded"] = state(other)
    page.locator("#file").set_input_files(question["other"])
    until(page, "document.title.startsWith('display-case')")
    at_rest(page)
    for width in (1280, 800, 360):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        page.wait_for_timeout(150)
        if page.evaluate("document.documentElement.scrollWidth") > width:
            answer["overflows"].append(width)
        answer["faults"] += [f"{width}: {fault}" for fault in faults(page)]
    answer["messages"] = messages
    answer["requests"] = [request for request in requests if request != question["page"]]
    return answer


def main():
    question = json.load(sys.stdin)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=question["chromium"], args=["--no-sandbox"])
        answer = globals()[question["look"]](browser, question)
        browser.close()
    json.dump(answer, sys.stdout)


main()
