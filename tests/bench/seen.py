"""Notes when each live value stood on the bench page, in headless Chromium.

    seen.py ADDRESS

Prints `ready`, waits for a line on standard input, then prints a JSON list of [text, wall clock in
microseconds] of every change of the live value.
"""

import json
import shutil
import sys

from playwright.sync_api import sync_playwright

WATCH = """() => {
  window.seen = [];
  const look = () => {
    const num = document.querySelector('#num');
    const text = num && num.classList.contains('fresh') ? num.textContent : '';
    const last = window.seen[window.seen.length - 1];
    if (text && (!last || last[0] !== text)) {
      window.seen.push([text, Math.round((performance.timeOrigin + performance.now()) * 1000)]);
    }
  };
  new MutationObserver(look).observe(document.body, { subtree: true, childList: true, characterData: true });
}"""

with sync_playwright() as playwright:
    browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
    page = browser.new_page()
    page.goto(sys.argv[1])
    page.wait_for_selector("#num")
    page.evaluate(WATCH)
    print("ready", flush=True)
    sys.stdin.readline()
    print(json.dumps(page.evaluate("window.seen")), flush=True)
    browser.close()
