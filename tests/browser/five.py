"""Five inspections by scanner codes alone, looked at on the page: from the due list to the signature.

    five.py CONTROL ADDRESS PLAN BADGE PICTURES BENCH STATION

PLAN is a JSON file: what stands on the bench one after the other, with the outcome that is due, and
the codes of the printed sheet. Nothing on the page is clicked and nothing is typed, but the three
voltages of the outlet, once a morning. One picture of each asset when it is to be signed, of a
live step, of the due list and of the results. Prints JSON lines; exit 1 with what was missed.
"""

import json
import os
import sys
import time

from playwright.sync_api import sync_playwright

from drive import ADDRESS, ASSET as PLAN, BADGE, PICTURES, Hands, Person, chromium


class Scanner(Person):
    """Somebody with a scanner in one hand and the leads in the other."""

    def __init__(self, page, hands, asset, codes, nulls):
        super().__init__(page, hands)
        self.asset, self.codes, self.nulls, self.scanned, self.typed = asset, codes, nulls, [], 0

    def code(self, word):
        """The station's own scanner on the bench reads it, not the page."""
        self.scanned.append(word)
        self.hands.do("scan", code=self.codes.get(word, word))

    def turn(self, state):
        words = {"selected": "BEGIN", "look": "PASS", "answer": "PASS", "clear": "CLEAR",
                 "live": "LIVE", "alive": "ALIVE", "dead": "DEAD", "may_be_live": "DEAD",
                 "login": BADGE, "idle": self.asset, "close_scan": self.asset}
        hands = self.hands
        if state == "sign":
            outcome = self.page.evaluate("document.querySelector('#p-acts .outcome')?.textContent")
            if outcome:  # else it is signed already
                self.code("SIGN" if "PASS" in outcome else "SIGN.TAG")
                time.sleep(0.3)
                self.code(BADGE)
        elif state in ("clear", "live", "dead", "may_be_live"):
            hands.switch(**({} if state != "clear" else self.wanted()))
            hands.switch(supply="on" if state == "live" else "off")
            time.sleep(1.1)
            # A box whose contacts speak has told it already.
            if self.state() == state:
                self.code(words[state])
        elif state == "alive":
            assert hands.do("look")["lit"], "the asset's indicator is lit"
            time.sleep(1.1)
            self.code("ALIVE")
        elif state in words:
            time.sleep(0.2)
            self.code(words[state])
        else:
            super().turn(state)

    def measure(self, state):
        warned = " ".join(self.page.locator("#p-now .warn").all_inner_texts()).lower()
        if "null" in warned and self.nulls:
            self.code("NULL.L-1")
        else:
            hands, point = self.hands, self.fact("Point")
            if state == "arm":
                hands.do("flex", on=False)
                hands.do("clips", to="open")
            elif point is not None:
                hands.do("way", to=self.fact("Measuring current") or "plus")
                hands.do("clips", to={"on": point})
                hands.do("flex", on=True)
                self.open_circuit()

    def open_circuit(self):
        """No value ever settles on an open circuit: whoever sees one says so by a code."""
        before = (self.state(), json.dumps(self.expect()))
        time.sleep(2.5)
        if self.hands.do("look")["ol"] and (self.state(), json.dumps(self.expect())) == before:
            self.code("CAPTURE")

    def connect(self):
        self.typed += self.asks_for_supply()
        super().connect()

    def press(self):
        """What the button would do at `connect`, a code of the card does."""
        if self.state() == "connect":
            self.code("CONNECTED")


def see(page, name):
    page.screenshot(path=os.path.join(PICTURES, f"{name}.png"))


def inspect(page, hands, one, codes):
    """One asset, from the due list to its seal."""
    place = page.url.split("/bench")[0].split("/due")[0]
    page.goto(place + "/due")
    row = page.locator(f"tr:has(a:text-is('{one['asset']}'))")
    if row.count() != 1:
        sys.exit(f"{one['asset']} is not on the due list: {page.locator('main').inner_text()}")
    page.goto(place + "/bench/b1")
    page.wait_for_selector("#p-now[data-state]")
    hands.do("scene", text=one["text"])
    person = Scanner(page, hands, one["asset"], codes, one["nulls"])
    def seen(state):
        if state == "capture" and one["id"] == "good":
            see(page, "live")

    person.work("sign", seen)
    page.evaluate("scrollTo(0, 0)")
    see(page, one["id"])
    shown = page.locator("#p-acts .outcome").inner_text()
    person.work("idle")
    return {"asset": one["asset"], "shown": shown, "codes": len(person.scanned),
            "typed": person.typed, "states": person.states}


def main():
    plan = json.load(open(PLAN))
    os.makedirs(PICTURES, exist_ok=True)
    hands, faults, errors = Hands(), [], []
    with sync_playwright() as playwright:
        page = chromium(playwright).new_context(viewport={"width": 1120, "height": 760}).new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(ADDRESS)
        page.wait_for_selector("#p-now")
        place = page.url.split("/bench")[0]
        page.goto(place + "/due")
        see(page, "due")
        page.goto(place + "/bench/b1")
        page.wait_for_selector("#p-now")
        for one in plan["assets"]:
            came = inspect(page, hands, one, plan["codes"])
            print(json.dumps(came), flush=True)
            if one["outcome"] not in came["shown"].lower():
                faults.append(f"{one['asset']}: {came['shown']}, not {one['outcome']}")
        page.goto(place + "/results")
        see(page, "results")
        rows = page.locator("tbody tr").count()
        if rows != len(plan["assets"]):
            faults.append(f"{rows} results")
    print(json.dumps({"faults": faults, "errors": errors}))
    sys.exit(1 if faults or errors else 0)


main()
