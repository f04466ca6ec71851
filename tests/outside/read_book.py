"""A second reader of books, written from the text of the format with Python's library alone.

read_book.py FILE: for each line that is believed [seq, hex of its raw bytes or null], then
[lines, bytes] that are believed. Exit 1 if anything follows the last right mark.
"""
import hashlib
import json
import sys

book = open(sys.argv[1], "rb").read()
above, waiting, lines, at, believed = hashlib.sha256(), [], 0, 0, 0
for line in book.split(b"\n")[:-1]:
    line += b"\n"
    try:
        stored = json.loads(line.decode("utf-8"))
    except ValueError:
        break
    if stored.get("mark", above.hexdigest()) != above.hexdigest():
        break
    above.update(line)
    at += len(line)
    if "mark" in stored:
        for fact in waiting:
            raw = fact["raw"].encode("latin-1").hex() if fact["k"] in ("in", "out") else None
            print(json.dumps([fact["seq"], raw]))
        lines, waiting, believed = lines + len(waiting), [], at
    else:
        waiting.append(stored)
print(json.dumps([lines, believed]))
sys.exit(0 if believed == len(book) else 1)
