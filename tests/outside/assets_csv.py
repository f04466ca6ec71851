"""Assets as CSV, by Python's own `csv`: what it writes is imported, what is exported it reads.

write DELIMITER: rows (JSON, a list of lists) from standard input, CSV to standard output.
read FILE: CSV from a file, rows as JSON to standard output.
"""

import csv
import io
import json
import sys


def main() -> None:
    if sys.argv[1] == "write":
        out = io.TextIOWrapper(sys.stdout.buffer, encoding="utf-8", newline="")
        csv.writer(out, delimiter=sys.argv[2]).writerows(json.load(sys.stdin))
        out.flush()
    else:
        with open(sys.argv[2], encoding="utf-8", newline="") as file:
            json.dump(list(csv.reader(file, strict=True)), sys.stdout)


main()
