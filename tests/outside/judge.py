"""Values at, just inside and just outside every limit, judged with exact fractions.

Prints one JSON object a line: `in` for the judge, and what it must say. Reads the table of
limits with its own TOML parser and shares no arithmetic with the judge.

    python3 judge.py COUNT SEED limits.toml ...
"""

import json
import random
import sys
import tomllib
from decimal import Decimal
from fractions import Fraction

PREFIX = {"n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
BASES = ("Ohm", "A", "V")
NOMINAL = ("IEC 62353", "DIN VDE 0751-1", "DGUV Information 203-071")
RATED_110 = ("IEC 60601-1", "UL 60601-1")
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


def mains(rng, low, high):
    """Measured and reference voltage as texts, and reference over measured."""
    text = rng.choice(REFERENCES)
    reference = fraction(text.split()[0]) * (1000 if text.endswith("k") else 1)
    share = Fraction(rng.randint(low, high), 1000)
    places = rng.randint(0, 3)
    measured = Fraction(round(reference * share * 10**places), 10**places)
    if not Fraction(low, 1000) <= measured / reference <= Fraction(high, 1000):
        measured = reference * (low + high) / 2000
        measured = Fraction(round(measured * 1000), 1000)
    unit = text + "V" if text.endswith("k") else text + " V"
    return plain(measured, 3) + " V", unit, reference / measured


def seen(value, limit, places):
    """Rounded half to even, finer where it would seem to lie elsewhere beside the limit."""
    side = lambda one: (one > limit) - (one < limit)
    while side(round(value, places)) != side(value):
        places += 1
    return plain(round(value, places), places)


def case(rng, row, table):
    key = next(k for k in ("max", "min", "max_below", "min_above") if k in row)
    bound, inclusive = key[:3], key in ("max", "min")
    text, unit = row[key].split()
    prefix, base = split_unit(unit)
    own = rng.choice([p for p in PREFIX if p + base in UNITS])
    limit = fraction(text) * Fraction(10) ** (PREFIX[prefix] - PREFIX[own])
    given = {
        "standard": table["standard"], "edition": table["edition"],
        "measurand": row["measurand"], "method": row["method"],
        "kind": rng.choice(row["kind"]), "unit": own + base, "rule": "simple",
        "proved": True, "confirmed": True,
        "gives": {"test_current": "200 mA", "open_circuit": "24 V"},
    }
    if row["measurand"] == "insulation_resistance":
        given["gives"] = {"test_voltage": "500 V"}
    if row.get("basis") == "unweighted":
        given["network"] = "none"
    if row["measurand"] == "protective_earth_impedance":
        given["gives"] = {"test_current": "25 A", "open_circuit": "6 V"}
    for word in ("class", "applied_part", "condition"):
        if row[word]:
            given[word] = rng.choice(row[word])
    factor, null = Fraction(1), Fraction(0)
    if base == "A" and table["standard"] in RATED_110:
        measured, reference, _ = mains(rng, 1089, 1111)
        given["mains"] = {"measured": measured, "reference": reference}
    elif base == "A" and table["standard"] in NOMINAL:
        measured, reference, scaled = mains(rng, 850, 1100)
        if given["kind"] == "ac":
            factor = scaled
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
    fits = value < limit if bound == "max" else value > limit
    fits = fits or (inclusive and value == limit)
    return {
        "in": given, "verdict": "pass" if fits else "fail",
        "value": f"{value.numerator}/{value.denominator}",
        "shown": seen(value, limit, places), "share": seen(value / limit * 100, Fraction(100), 1),
        "row": row["id"],
        "at": value == limit,
    }


def digits_before(limit):
    return len(str(int(limit))) if limit >= 1 else 0


UNITS = ("uOhm", "mOhm", "Ohm", "kOhm", "MOhm", "GOhm", "nA", "uA", "mA", "A", "nV", "uV", "mV", "V", "kV")


def main():
    count, seed = int(sys.argv[1]), int(sys.argv[2])
    rows = []
    for path in sys.argv[3:]:
        with open(path, "rb") as file:
            table = tomllib.load(file)
        rows += [(row, table) for row in table["limit"]]
    rng = random.Random(seed)
    made = 0
    while made < count:
        found = case(rng, *rows[made % len(rows)])
        if found is not None:
            print(json.dumps(found))
            made += 1


main()
