"""A table on standard input, read by Python's csv: its rows as one JSON list."""

import csv
import io
import json
import sys

text = sys.stdin.buffer.read().decode("utf-8-sig")
separator = sys.argv[1] if len(sys.argv) > 1 else ","
rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
print(json.dumps(rows))
