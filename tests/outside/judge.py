"""Values at, just inside and just outside every limit, judged with exact fractions.

Prints one JSON object a line: `in` for the judge, and what it must say. Reads the table of
limits with its own TOML parser and shares no arithmetic with the judge.

    python3 judge.py limits.toml COUNT SEED
"""

import json
import random
import sys
import tomllib
from decimal import Decimal
from fractions import Fraction

PREFIX = {"n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
BASES = ("Ohm", "A")
REFERENCES = ("230", "230.0", "220", "240", "110", "250", "127", "0.23 k", "200", "115")


def split_unit(unit):
    for base in BASES:
        if unit.endswith(base):
            return unit[: -len(base)], base
    raise ValueError(unit)


def fraction(text):
    return Fraction(Decimal(text))


def plain(value, places):
    """A fraction with at most `places` places, written out."""
    scaled = value * 10**places
    assert scaled.denominator == 1
    sign = "-" if scaled < 0 else ""
    digits = str(abs(scaled.numerator)).rjust(places + 1, "0")
    return sign + (digits if places == 0 else digits[:-places] + "." + digits[-places:])


def near(rng, target, places):
    """A decimal at the target, or one to a few last digits beside it."""
    scaled = target * 10**places
    whole = scaled.numerator // scaled.denominator
    return Fraction(whole + rng.choice((-3, -1, 0, 0, 1, 1, 2)), 10**places)


def mains(rng):
    """Measured and reference voltage as texts, and reference over measured."""
    text = rng.choice(REFERENCES)
    reference = fraction(text.split()[0]) * (1000 if text.endswith("k") else 1)
    share = Fraction(rng.randint(850, 1100), 1000)
    places = rng.randint(0, 3)
    measured = Fraction(round(reference * share * 10**places), 10**places)
    if not Fraction(85, 100) <= measured / reference <= Fraction(110, 100):
        measured = reference
    unit = text + "V" if text.endswith("k") else text + " V"
    return plain(measured, 3) + " V", unit, reference / measured


def case(rng, row):
    bound = "max" if "max" in row else "min"
    text, unit = row[bound].split()
    prefix, base = split_unit(unit)
    own = rng.choice([p for p in PREFIX if p + base in UNITS])
    limit = fraction(text) * Fraction(10) ** (PREFIX[prefix] - PREFIX[own])
    given = {
        "standard": "IEC 62353", "edition": "2014", "measurand": row["measurand"],
        "method": row["method"], "class": rng.choice(row["class"]),
        "kind": rng.choice(row["kind"]), "unit": own + base, "rule": "simple",
        "proved": True, "confirmed": True,
        "gives": {"test_current": "200 mA", "open_circuit": "24 V"},
    }
    if row["applied_part"]:
        given["applied_part"] = rng.choice(row["applied_part"])
    factor, null = Fraction(1), Fraction(0)
    if base == "A":
        measured, reference, factor = mains(rng)
        given["mains"] = {"measured": measured, "reference": reference}
    places = rng.randint(max(0, 2 - digits_before(limit)), max(4, 9 - digits_before(limit)))
    if bound == "max" and base == "Ohm" and rng.random() < 0.5:
        null = near(rng, limit / 4, places)
        if null < 0:
            null = Fraction(0)
        given["lead_null"] = plain(null, places)
    raw = near(rng, limit / factor + null, places)
    if raw < 0:
        return None
    value = (raw - null) * factor
    if value < 0:
        return None
    sign = -1 if bound == "max" and rng.random() < 0.3 else 1
    given["value"] = plain(sign * raw, places)
    if len(given["value"].strip("-").replace(".", "").lstrip("0")) > 15:
        return None
    fits = value <= limit if bound == "max" else value >= limit
    shown = round(value, places)
    share = round(value / limit * 100, 1)
    return {
        "in": given, "verdict": "pass" if fits else "fail",
        "value": f"{value.numerator}/{value.denominator}",
        "shown": plain(shown, places), "share": plain(share, 1), "row": row["id"],
        "at": value == limit,
    }


def digits_before(limit):
    return len(str(int(limit))) if limit >= 1 else 0


UNITS = ("uOhm", "mOhm", "Ohm", "kOhm", "MOhm", "GOhm", "nA", "uA", "mA", "A")


def main():
    path, count, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    with open(path, "rb") as file:
        rows = tomllib.load(file)["limit"]
    rng = random.Random(seed)
    made = 0
    while made < count:
        found = case(rng, rows[made % len(rows)])
        if found is not None:
            print(json.dumps(found))
            made += 1


main()
