"""Reads stamps of books, one a line, with Python's own datetime: microseconds since 1970."""

import sys
from datetime import datetime, timedelta

EPOCH = datetime(1970, 1, 1)

for line in sys.stdin:
    stamp = datetime.strptime(line.rstrip("\n"), "%Y-%m-%dT%H:%M:%S.%fZ")
    print((stamp - EPOCH) // timedelta(microseconds=1))
