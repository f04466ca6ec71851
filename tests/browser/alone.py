"""Chromium without a station: what the page's script does by itself."""

import os
import shutil
import sys

# The script as the station serves it.
SCRIPT = open(os.path.join(os.path.dirname(__file__), "../../src/page/page.js")).read()


def chromium(playwright):
    path = shutil.which("chromium")
    if path is None:
        sys.exit("this test needs chromium: apt-get install chromium")
    return playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
