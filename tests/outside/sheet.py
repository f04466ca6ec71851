"""Reads the codes of a page from pictures: its drawings from standard input, what each says as JSON.

The reader is zxing-cpp. A drawing is one path of rectangles in whole units; each unit becomes 4 x 4 dots.
"""
import json
import re
import sys

import numpy
import zxingcpp

DOTS = 4

for drawing in re.findall(r"<svg.*?</svg>", sys.stdin.read(), re.S):
    width, height = map(int, re.search(r'viewBox="0 0 (\d+) (\d+)"', drawing).groups())
    picture = numpy.full((height * DOTS, width * DOTS), 255, dtype=numpy.uint8)
    for x, y, w, h in re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)h-\d+z", drawing):
        x, y, w, h = (int(n) * DOTS for n in (x, y, w, h))
        picture[y:y + h, x:x + w] = 0
    found = zxingcpp.read_barcodes(picture)
    if len(found) != 1:
        sys.exit(f"{len(found)} codes are read in one drawing")
    print(json.dumps({"aim": found[0].symbology_identifier, "bytes": list(found[0].bytes)}))
