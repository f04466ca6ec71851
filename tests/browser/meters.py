"""What instruments say is text on every view, and stays text.

    meters.py - ADDRESS INSPECTION - PICTURES BENCH STATION

INSPECTION is open; its instruments spoke markup before this began and speak on. Exit 1 with what
ran, or what went in as anything but text.
"""

import json
import sys
import time

from playwright.sync_api import sync_playwright

from drive import ADDRESS, ASSET as INSPECTION, chromium
from hostile import ODD


def main():
    faults, seen = [], ""
    with sync_playwright() as playwright:
        page = chromium(playwright).new_page()
        page.on("dialog", lambda one: faults.append(f"a dialog: {one.message}"))
        page.goto(ADDRESS)
        page.wait_for_selector("#p-now")
        place = page.url.split("/bench")[0]
        for path in ("/bench/b1", "/state", f"/inspection/{INSPECTION}", "/results", "/due"):
            page.goto(place + path)
            time.sleep(1.5)
            if page.evaluate("window.owned !== undefined"):
                faults.append(f"{path}: it ran: {page.evaluate('window.owned')}")
            odd = page.locator(ODD)
            if odd.count():
                faults.append(f"{path}: {odd.first.evaluate('one => one.outerHTML')[:200]}")
            for chain in page.locator("main details").all():
                chain.evaluate("one => one.open = true")
            seen += page.locator("main").inner_text()
    # A probe that saw nothing of what was said would pass as well.
    if "window.owned=" not in seen:
        faults.append(f"nothing that an instrument said is on any view: {seen[:2000]}")
    print(json.dumps({"faults": faults}))
    sys.exit(1 if faults else 0)


main()
