"""Drives the bench page in headless Chromium: a whole inspection on the simulated bench by what the
page shows, every view in light and dark from 320 px to wide, axe-core on each.

    drive.py CONTROL ADDRESS ASSET BADGE PICTURES BENCH STATION

CONTROL is the socket of the simulated bench's hands, ADDRESS what `tapline page` tells, BENCH and
STATION are their processes. The page is looked at as a person would: the words of its buttons, the
state it names. Prints what it came to as JSON lines; exit 1 with what was missed.
"""

import json
import os
import signal
import socket
import sys
import time

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import TimeoutError, sync_playwright

from alone import chromium

CONTROL, ADDRESS, ASSET, BADGE, PICTURES = sys.argv[1:6]
BENCH, STATION = (int(pid) for pid in sys.argv[6:8])
# Between two looks, seconds, and looks until it is given up: a cap against hangs, nothing more.
LOOK, LOOKS = 0.05, 1200
BEGAN = time.monotonic()
# WCAG 2.2, levels A and AA (W3C Recommendation, 12 December 2024).
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


class Hands:
    """Hands at the simulated bench."""

    def __init__(self):
        self.line = socket.socket(socket.AF_UNIX)
        self.line.connect(CONTROL)
        self.file = self.line.makefile("rw")

    def do(self, what, **fields):
        self.file.write(json.dumps({"do": what, **fields}) + "\n")
        self.file.flush()
        answer = json.loads(self.file.readline())
        if answer.get("error"):
            sys.exit(f"the bench refused {what}: {answer['error']}")
        return answer

    def switch(self, **to):
        self.do("switch", set=to)


class Person:
    """Somebody who does what the page says, by the page."""

    def __init__(self, page, hands):
        self.page, self.hands = page, hands
        self.states, self.tones, self.acted, self.missed = [], [], None, 0
        self.signed = False

    def state(self):
        return self.page.locator("#p-now").get_attribute("data-state")

    def expect(self):
        return json.loads(self.page.locator("#p-now").get_attribute("data-expect") or "{}")

    def fact(self, word):
        """A fact that stands under `word` among the places."""
        found = self.page.locator(f".places div:has(dt:text-is('{word}')) dd")
        return found.inner_text() if found.count() else None

    def wanted(self):
        rows = self.page.locator(".switches tbody tr")
        pairs = [rows.nth(n).locator("th, td").all_inner_texts() for n in range(rows.count())]
        return {row[0].split(",")[0]: row[1] for row in pairs if row[1] != "–"}

    def press(self):
        """The page may go on between the look and the hand: then the next look decides."""
        try:
            self.page.locator("#primary").click(timeout=5_000)
        except TimeoutError:
            self.missed += 1

    def scan(self, code):
        """As a scanner types: fast, with Enter behind it, wherever the focus is."""
        self.page.keyboard.type(code, delay=4)
        self.page.keyboard.press("Enter")

    def turn(self, state):
        page, hands = self.page, self.hands
        if state == "login":
            self.scan(BADGE)
        elif state == "idle":
            self.scan(ASSET)
        elif state in ("selected", "look", "answer"):
            self.press()
        elif state == "sign":
            self.sign()
        elif state in ("arm", "measure"):
            self.measure(state)
        elif state == "null":
            hands.do("way", to=self.fact("Measuring current") or "plus")
            hands.do("clips", to="shorted")
        elif state == "null_apart":
            hands.do("clips", to="open")
        elif state == "connect":
            self.connect()
        elif state in ("prove_closed", "reprove"):
            hands.switch(S7="closed")
        elif state in ("prove_open", "clear"):
            hands.switch(**self.wanted())
            if state == "clear":
                time.sleep(1.1)
                self.press()
        elif state == "live":
            hands.switch(supply="on")
            time.sleep(1.1)
            if self.state() == "live":
                self.press()
        elif state == "alive":
            assert hands.do("look")["lit"], "the asset's indicator is lit"
            time.sleep(1.1)
            self.press()
        elif state in ("dead", "may_be_live"):
            hands.switch(supply="off")
            time.sleep(1.1)
            if self.state() == state:
                self.press()
        elif state == "close_scan":
            self.scan(ASSET)

    def sign(self):
        """By the badge of who works here, scanned; by no other, and by no open page alone."""
        page = self.page
        if self.signed or not page.locator("input#badge").count():
            return  # it is signed already
        self.signed = True
        assert page.locator("input#badge").get_attribute("type") == "password", "it is not shown"
        said = page.locator("p.signs").inner_text()
        assert "R. Feld" in said and "20" in said, said
        for wrong in ("OPERATOR-0000", "op-7"):
            page.locator("#badge").fill(wrong)
            self.press()
            until(page, "document.querySelector('#badge').value === ''")
            refused = page.locator("#said.refused").inner_text()
            assert "nothing was signed" in refused.lower() and self.state() == "sign", refused
        page.locator("#p-now").click()
        self.scan(BADGE)

    def measure(self, state):
        page, hands = self.page, self.hands
        warned = " ".join(page.locator("#p-now .warn").all_inner_texts())
        if "null" in warned.lower():
            self.more()
            page.get_by_role("button", name="Null leads").first.click()
        elif state == "arm":
            hands.do("flex", on=False)
            hands.do("clips", to="open")
        else:
            point = self.fact("Point")
            if point is None:
                return  # the page went on while it was read
            hands.do("way", to=self.fact("Measuring current") or "plus")
            hands.do("clips", to={"on": point})
            hands.do("flex", on=True)

    def more(self):
        if self.page.locator("#more").get_attribute("open") is None:
            self.page.locator("#more > summary").click()

    def asks_for_supply(self):
        """The page wants the voltages of the outlet before anything else."""
        return self.page.locator(".primary form:has(input[name=npe])").count() > 0

    def connect(self):
        page, hands = self.page, self.hands
        if self.asks_for_supply():
            for _ in range(2):
                form = page.locator(".primary form[data-act=prove]:has(input[name=npe])")
                for name, volts in (("ln", "230.0"), ("npe", "0.2"), ("lpe", "229.9")):
                    form.locator(f"input[name={name}]").fill(volts)
                form.get_by_role("button").click()
                time.sleep(0.3)
        hands.switch(supply="off", S7="closed", S5="normal")
        hands.do("clips", to="open")
        hands.do("flex", on=False)
        hands.do("plug", plugged=True)
        hands.do("asset", on=True)
        hands.do("lead", to=self.fact("Applied part") or self.fact("Point") or "case")
        time.sleep(1.2)
        self.press()

    def work(self, end, seen=None):
        """Follows the page until it names this state."""
        for _ in range(LOOKS):
            state = self.state()
            tone = self.page.evaluate("document.body.dataset.tone || ''")
            if tone:
                self.tones.append(tone)
                self.page.evaluate("delete document.body.dataset.tone")
            if tone == "fail":  # what is heard is seen as well
                until(self.page, "document.querySelector('.verdict.fail') !== null")
            if not self.states or self.states[-1] != state:
                self.states.append(state)
                print(f"{time.monotonic() - BEGAN:6.1f} s  {state}", flush=True)
            if state == end:
                return
            mark = (state, json.dumps(self.expect()), self.page.locator("#p-now").inner_text())
            if mark != self.acted:
                self.acted = mark
                if seen:
                    seen(state)
                    if self.state() != state:
                        continue
                self.turn(state)
            time.sleep(LOOK)
        said = [self.page.locator(part).inner_text() for part in ("#p-now", "#p-live", "#said")]
        sys.exit(f"the page never came to `{end}`: it says `{self.state()}`; {said}; {self.states}")


class Pictures:
    """Each view in light and dark, narrow and wide, with axe-core on it."""

    def __init__(self, page):
        self.page, self.axe, self.faults, self.taken = page, Axe(), [], 0

    def of(self, name):
        """Narrow is 320 CSS px, which is also 1280 px at 400 % (WCAG 2.2, 1.4.10); zoomed is 1280 px
        at 200 % (1.4.4)."""
        sizes = (("narrow", 320, 640), ("zoomed", 640, 400), ("wide", 1280, 800))
        for size, width, height in sizes:
            self.page.set_viewport_size({"width": width, "height": height})
            for theme in ("light",) if size == "zoomed" else ("light", "dark"):
                self.page.emulate_media(color_scheme=theme)
                time.sleep(0.2)
                path = os.path.join(PICTURES, f"{name}-{size}-{theme}.png")
                self.page.screenshot(path=path, full_page=size == "narrow")
                self.taken += 1
                if (size, theme) != ("narrow", "dark"):
                    self.check(f"{name}, {size}, {theme}")
            over = self.page.evaluate(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth")
            if over > 0:
                self.faults.append(f"{name}, {size}: it is {over} px too wide")

    def only(self, name, width=1280, height=800):
        """A picture of something that does not last."""
        self.page.set_viewport_size({"width": width, "height": height})
        self.page.screenshot(path=os.path.join(PICTURES, f"{name}-{width}.png"))
        self.page.set_viewport_size({"width": 1280, "height": 800})

    def check(self, where):
        options = {"runOnly": {"type": "tag", "values": RULES}}
        found = self.axe.run(self.page, options=options).response["violations"]
        for one in found:
            nodes = [node["html"][:160] for node in one["nodes"][:3]]
            self.faults.append(f"{where}: {one['id']}: {one['help']}: {nodes}")


FRESH = "/[0-9]/.test(document.querySelector('#num.fresh')?.textContent || '')"
DASHES = """(() => { const num = document.querySelector('#num');
    return num && !num.classList.contains('fresh') && num.textContent === num.dataset.dashes; })()"""
GONE = "!document.querySelector('#gone').hidden"


def until(page, condition):
    """Playwright's own waiting evaluates text, which the page's content policy forbids."""
    for _ in range(LOOKS):
        if page.evaluate(condition):
            return
        time.sleep(LOOK)
    sys.exit(f"waited in vain for {condition}")


REACHED = """(() => { const num = document.querySelector('#num.fresh');
    return num && document.querySelector('#shows').textContent.includes('meter shows'); })()"""


def beside_its_limit(page):
    """The live value is in the unit of its limit; what the meter shows in its own stands beside."""
    until(page, REACHED)
    unit, limit, shows = page.evaluate(
        "['#unit', '.limit-text', '#shows'].map((at) => document.querySelector(at).textContent)")
    assert limit.endswith(" " + unit), f"{unit} beside {limit}"
    assert "V" in shows.split(" · ")[0] and "A" in unit, f"{shows}, {unit}"
    assert page.locator("#mark").get_attribute("visibility") == "visible", "it stands on the bar"
    return f"{shows} -> {page.locator('#num').inner_text()} {unit}, {limit}"


def goes_with(page, pid, what):
    """The live value is a number, dashes while a process stands still, and a number again."""
    until(page, FRESH)
    os.kill(pid, signal.SIGSTOP)
    try:
        until(page, DASHES)
        gone = page.evaluate(GONE)
        if what == "station":
            until(page, GONE)
        else:
            assert not gone, "the station is there"
    finally:
        os.kill(pid, signal.SIGCONT)
    until(page, FRESH)
    assert not page.evaluate(GONE), "it is back"


def views(page, pictures):
    """The views beside the bench, by their links, with the keyboard alone."""
    for word, address in (("Due", "/due"), ("Results", "/results"), ("Instruments", "/state")):
        link = page.get_by_role("link", name=word, exact=True)
        link.focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**" + address)
        pictures.of(word.lower())
    page.goto(page.url.replace("/state", "/results"))
    row = page.locator("tbody tr").first
    assert ASSET in row.inner_text() and "PASS" in row.inner_text(), row.inner_text()
    row.get_by_role("link").first.click()
    page.wait_for_selector("h2:text-is('Verdicts')")
    for chain in page.locator("details").all():
        chain.locator("summary").click()
    assert page.locator(".raw").count() > 10, "verdicts are told from their bytes on"
    pictures.of("review")
    page.get_by_role("link", name=ASSET).click()
    page.wait_for_selector(".plotted")
    pictures.of("asset")
    page.get_by_role("link", name="Bench", exact=True).click()
    page.wait_for_selector("#p-now")


def weigh(page, pictures):
    """The page with everything that it loads is below 200 kB."""
    bytes_of = lambda path: len(page.request.get(page.url.split("/bench")[0] + path).body())
    each = {path: bytes_of(path) for path in ("/bench/b1", "/page.css", "/page.js", "/icon.svg")}
    if sum(each.values()) >= 200_000:
        pictures.faults.append(f"the page is too heavy: {each}")
    print(json.dumps({"bytes": each}))


def main():
    os.makedirs(PICTURES, exist_ok=True)
    hands, errors = Hands(), []
    with sync_playwright() as playwright:
        browser = chromium(playwright)
        page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda one: errors.append(f"{one.text} {one.location}") if one.type == "error" else None)
        pictures = Pictures(page)

        page.goto(ADDRESS.split("#")[0])
        page.wait_for_selector("body[data-door]")
        pictures.of("door")
        page.goto(ADDRESS)
        page.wait_for_selector("#p-now")
        errors.clear()  # that a browser without the key is refused is one
        assert "#" not in page.url, f"the secret has left the address: {page.url}"

        person = Person(page, hands)
        taken = set()

        def seen(state):
            if state == "arm" and "arm" not in taken and page.evaluate(FRESH):
                goes_with(page, BENCH, "meter")
                goes_with(page, STATION, "station")
                taken.add("arm")
            if state not in taken and state in ("login", "selected", "look", "measure", "connect"):
                taken.add(state)
                pictures.of(state)

        person.work("capture", seen)
        print(json.dumps({"live": beside_its_limit(page)}))
        pictures.only("capture")
        pictures.only("capture", 3840, 2160)
        person.work("sign", seen)
        pictures.of("sign")
        person.work("idle")
        views(page, pictures)
        weigh(page, pictures)
        refused = [one for one in errors if "409" in one and one.count("/sign'")]
        assert len(refused) == 2, f"two badges were refused: {errors}"
        errors = [one for one in errors if one not in refused]
        assert "arm" in taken, "the live value was seen to go with its instrument and its station"
        print(json.dumps({"states": person.states, "tones": person.tones,
                          "missed": person.missed}))
        print(json.dumps({"errors": errors, "faults": pictures.faults, "pictures": pictures.taken}))
        browser.close()
    sys.exit(1 if errors or pictures.faults else 0)


if __name__ == "__main__":
    main()
