"""Opens a page in Chromium and says what it does: messages, requests, faults of accessibility, widths, charts.

A question comes as JSON on standard input, the answer goes as JSON to standard output.
"""

import json
import sys

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

HEIGHT = 900


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
    answer["charts"] = page.locator("[data-chart]").count()
    answer["drawn"] = page.locator("[data-chart]:has(canvas)").count()
    answer["read"] = {name: read_chart(page, name) for name in question["charts"]}
    answer["ladder"] = page.locator(".ladder .decide").all_inner_texts()
    return answer


def main():
    question = json.load(sys.stdin)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=question["chromium"], args=["--no-sandbox"])
        answer = globals()[question["look"]](browser, question)
        browser.close()
    json.dump(answer, sys.stdout)


main()
