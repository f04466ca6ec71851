"""What a barcode, a register or a person may say is text on every view, and stays text.

    hostile.py CONTROL ADDRESS ASSET BADGE PICTURES BENCH STATION

ASSET has hostile texts in its register entry. Exit 1 with what ran, or what went in as anything
but text.
"""

import json
import sys
import time

from playwright.sync_api import sync_playwright

from drive import ADDRESS, ASSET, BADGE, Hands, chromium

# HTML's own ways to run something, and ends of what text may stand in (OWASP XSS prevention cheat
# sheet, CWE-79); control characters and directions of writing (Unicode 15, chapter 23).
TEXTS = [
    "<script>window.owned=1</script>",
    "<img src=x onerror=window.owned=2>",
    "\"><svg onload=window.owned=3>",
    "'><iframe srcdoc='<script>parent.owned=4</script>'>",
    "</title></section><script>window.owned=5</script>",
    "javascript:window.owned=6",
    "{{constructor.constructor('window.owned=7')()}}",
    "<details open ontoggle=window.owned=8>",
    "\u202egnihton",
    "&lt;script&gt;window.owned=9&lt;/script&gt;",
    "`${window.owned=10}`",
    "<style>*{display:none}</style>",
]
ODD = "img, iframe, object, embed, main script, main style, [onload], [onerror], [ontoggle]"


def declared(page):
    """A lever's form sends an object. No lever is asked for yet, so a form is made one."""
    with page.expect_request("**/bench/b1/switch") as sent:
        page.locator("form[data-act=note]").evaluate("""form => {
            form.dataset.act = 'switch';
            form.elements.text.name = 'set.S5';
            form.elements['set.S5'].value = 'reversed';
            form.requestSubmit();
        }""")
    body = sent.value.post_data_json
    return [] if body == {"set": {"S5": "reversed"}} else [f"a lever is told as {body}"]


def main():
    hands, faults = Hands(), []
    with sync_playwright() as playwright:
        page = chromium(playwright).new_page()
        page.on("dialog", lambda one: faults.append(f"a dialog: {one.message}"))

        def look(where):
            if page.evaluate("window.owned !== undefined"):
                faults.append(f"{where}: it ran: {page.evaluate('window.owned')}")
            odd = page.locator(ODD)
            if odd.count():
                faults.append(f"{where}: {odd.first.evaluate('one => one.outerHTML')[:200]}")
            if not page.locator("#main").is_visible():
                faults.append(f"{where}: nothing is to be seen")

        page.goto(ADDRESS)
        page.wait_for_selector("#p-now")
        for text in TEXTS:
            page.locator("#code").fill(text)
            page.keyboard.press("Enter")
            time.sleep(0.15)
            look(f"typed {text!r}")
        for text in TEXTS:
            hands.do("scan", code=text)
            time.sleep(0.3)
            look(f"scanned {text!r}")
        shown = page.locator("#p-now").inner_text() + page.locator("#said").inner_text()
        if "<style>" not in shown:
            faults.append(f"what was refused is named as text: {shown!r}")
        for code in (BADGE, ASSET):
            page.locator("#code").fill(code)
            page.keyboard.press("Enter")
            time.sleep(0.5)
        if "<script>window.owned=1</script>" not in page.locator("#p-asset").inner_text():
            faults.append(f"the asset as text: {page.locator('#p-asset').inner_text()!r}")
        look("selected")
        page.locator("#primary").click()
        page.wait_for_selector("[data-state=look]")
        look("begun")
        for text in TEXTS:
            page.evaluate("document.querySelector('#more').open = true")
            page.locator("form[data-act=note] input[name=text]").fill(text)
            page.locator("form[data-act=note] button").click()
            time.sleep(0.2)
        faults.extend(declared(page))
        inspection = page.locator("#p-asset a").first.get_attribute("href")
        place = page.url.split("/bench")[0]
        for path in (inspection, "/due", "/results?from=", "/state", f"/asset/{ASSET}"):
            page.goto(place + path)
            look(path)
        for text in TEXTS:
            query = page.evaluate("text => encodeURIComponent(text)", text)
            for path in (f"/due?place={query}", f"/results?from=&asset={query}",
                         f"/results?from={query}&sort={query}"):
                page.goto(place + path)
                look(path)
    print(json.dumps({"texts": len(TEXTS), "faults": faults}))
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
