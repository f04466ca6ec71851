"""The life of a sealed inspection on the page, with the keyboard: it is found among those that wait,
put right by two persons, reviewed by a third and given out. axe-core on each view, light and dark.

    review.py - ADDRESS INSPECTION BADGES PICTURES 0 0

INSPECTION failed at its housing; BADGES are those of who inspected, a second person, a reviewer, with
a comma between. Exit 1 with what was missed.
"""

import json
import os
import sys

from playwright.sync_api import sync_playwright

from drive import ADDRESS, ASSET as INSPECTION, BADGE, PICTURES, Pictures, chromium, until

INSPECTOR, SECOND, REVIEWER = BADGE.split(",")
SAID = "document.querySelector('#said').textContent.includes({})"


def said(page, text):
    until(page, SAID.format(json.dumps(text)))


def scanned(page, badge):
    """As a scanner types, with Enter behind it, where the focus is."""
    page.keyboard.type(badge, delay=4)
    page.keyboard.press("Enter")


def loaded(page, link):
    """What kind of file a link leads to."""
    reply = page.request.get(page.url.split("/results")[0] + link.get_attribute("href"))
    assert reply.status == 200 and reply.body(), reply.text()
    return reply.headers["content-type"].split(";")[0]


def renewed(page, count):
    """It is shown anew, with so many addenda."""
    until(page, f"document.querySelectorAll('.added li').length === {count}")


def opened(page, of):
    """A form is opened by the keyboard."""
    page.locator(f"#{of} > summary").focus()
    page.keyboard.press("Enter")
    return page.locator(f"#{of} form")


def waits(page, pictures):
    page.get_by_role("link", name="Results", exact=True).click()
    page.get_by_role("link", name="Waiting for a review").click()
    page.wait_for_url("**/reviews")
    row = page.locator("tbody tr")
    assert row.count() == 1 and "FAIL" in row.inner_text(), row.all_inner_texts()
    pictures.of("reviews")
    row.get_by_role("link").first.click()
    page.wait_for_url(f"**/inspection/{INSPECTION}")


def refused(page, pictures):
    """Who took part does not review; it is said beside the button, and the badge is gone."""
    field = page.locator("#badge-accept")
    assert field.get_attribute("type") == "password", "a badge is not shown"
    page.locator("form[data-act=review] input[name=remark]").first.fill("looked at all of it")
    field.focus()
    scanned(page, INSPECTOR)
    said(page, "took part in")
    assert page.locator(".refused.beside").is_visible(), "it is said where the hand is"
    assert field.input_value() == "", "the badge is gone"
    remark = page.locator("form[data-act=review] input[name=remark]").first
    assert remark.input_value() == "looked at all of it", "what was typed stays"
    pictures.of("refused")


def amended(page, pictures):
    form = opened(page, "amend")
    form.locator("select[name='change.answer/look/housing']").select_option("pass")
    form.locator("select[name=reason]").select_option("wrong_answer")
    form.locator("input[name=text]").fill("the wrong row was ticked")
    for more in page.locator("#record details").all():
        more.evaluate("one => one.open = true")
    pictures.of("forms")
    form.locator("input[name=second]").focus()
    scanned(page, SECOND)
    at = "document.activeElement.id"
    assert page.evaluate(at) == "badge-amend", f"the first badge leads on to: {page.evaluate(at)}"
    scanned(page, INSPECTOR)
    said(page, "is amended")
    said(page, "Print the label of")
    renewed(page, 1)
    text = page.locator(".added").inner_text()
    for word in ("amended", "R. Feld", "Anna Berg", "Fail", "Pass", "the wrong row", "print its label"):
        assert word in text, f"{word}: {text}"
    assert "PASS" in page.locator("section.asset").inner_text()


def reviewed(page):
    page.locator("form[data-act=review] input[name=remark]").first.fill("housing looked at again")
    page.locator("#badge-accept").focus()
    scanned(page, REVIEWER)
    said(page, "is reviewed")
    renewed(page, 2)
    assert page.locator("#badge-accept").count() == 0, "it is reviewed once"
    assert "housing looked at again" in page.locator(".added").inner_text()


def released(page, pictures):
    opened(page, "release")
    page.locator("#badge-release").focus()
    scanned(page, REVIEWER)
    said(page, "is released")
    renewed(page, 3)
    assert page.locator("#release").count() == 0, "it is given out once"
    pictures.of("released")


def main():
    os.makedirs(PICTURES, exist_ok=True)
    errors = []
    with sync_playwright() as playwright:
        context = chromium(playwright).new_context(viewport={"width": 1280, "height": 800})
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        asked = []
        page.on("request", lambda one: asked.append((one.method, one.url)))
        pictures = Pictures(page)
        page.goto(ADDRESS)
        page.wait_for_selector("#p-now")
        waits(page, pictures)
        refused(page, pictures)
        amended(page, pictures)
        reviewed(page)
        released(page, pictures)
        page.goto(page.url.split("/inspection")[0] + "/results")
        assert "released" in page.locator("tbody tr").inner_text()
        page.locator("#given > summary").click()
        pictures.of("results")
        kinds = [loaded(page, page.locator("#given a").nth(n)) for n in range(5)]
        assert kinds == ["text/csv"] * 4 + ["application/x-ndjson"], kinds
        kept = json.dumps(context.storage_state()) + page.content()
        for badge in (INSPECTOR, SECOND, REVIEWER):
            if badge in kept or any(badge in url for _, url in asked):
                errors.append(f"{badge} is kept, or stands in an address")
        acts = [url for method, url in asked if method == "POST" and "/inspection/" in url]
        assert len(acts) == 4, f"each act is one request: {acts}"
    print(json.dumps({"errors": errors, "faults": pictures.faults, "pictures": pictures.taken}))
    sys.exit(1 if errors or pictures.faults else 0)


if __name__ == "__main__":
    main()
