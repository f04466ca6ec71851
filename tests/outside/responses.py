"""Reads what our grammar made of numeric responses and says where Python's `decimal` disagrees.

Lines in: the response in hexadecimal, a blank, what was made of it (a plain decimal, `infinity`,
`-infinity`, `nan` or `malformed`). Lines out: each disagreement; last the counts of each kind.
"""

import re
import sys
from collections import Counter
from decimal import Decimal, getcontext

# Never rounded: the longest response has fewer digits.
getcontext().prec = 2000
FORM = re.compile(rb"([+-]?)[ \t\0]*([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")
SENTINEL, NOT_A_NUMBER, TOP = Decimal("9.89E37"), Decimal("9.905E37"), Decimal("1E38")


def read(response):
    form = FORM.fullmatch(response.strip(b" \t\0"))
    if form is None:
        return "malformed"
    value = Decimal(b"".join(part or b"" for part in form.groups()).decode())
    if abs(value) >= SENTINEL:
        infinity = abs(value) < NOT_A_NUMBER
        return ("-" if value.is_signed() else "") + "infinity" if infinity else "nan"
    sign, digits, exponent = value.as_tuple()
    digits = "".join(map(str, digits)).lstrip("0")
    if len(digits) > 15:
        return "malformed"
    # Zeros below the smallest step may go; a zero has as many as it likes.
    while exponent < -24 and (not digits or digits.endswith("0")):
        digits, exponent = digits[:-1], exponent + 1
    if not -24 <= exponent <= 15:
        return "malformed"
    kept = Decimal((sign, tuple(map(int, digits or "0")), exponent))
    return format(kept, "f")


kinds = Counter()
for line in sys.stdin.buffer:
    sent, said = line.split()
    want, said = read(bytes.fromhex(sent.decode())), said.decode()
    kinds[want if want.isalpha() or want[1:].isalpha() else "value"] += 1
    if want != said:
        print("differs", bytes.fromhex(sent.decode()), "python", want, "grammar", said)
print("counts", *(f"{kind}={count}" for kind, count in sorted(kinds.items())))
