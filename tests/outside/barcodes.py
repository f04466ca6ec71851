"""Element strings and HIBC labels against programs of other makes.

`make COUNT SEED TABLE`: cases, one JSON object a line. `hold`: cases with what was made of them, from
standard input; prints what agreed, and each disagreement that is not one of the listed ones.

zint (libzint, whose makers are among those of the GS1 Barcode Syntax Dictionary) says which elements are
right; biip says how a string is cut into elements, by GS1's published list of identifiers.
"""
import collections
import json
import random
import re
import sys

import zint
from biip.gs1_messages import GS1Message
from biip.gs1_application_identifiers import GS1ApplicationIdentifier
from biip import ParseError

GS = "\x1d"
SETS = {
    "N": "0123456789",
    "X": "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz",
    "Y": "#-/0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ",
    "Z": "-0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz",
}
PATIENT = {"8018"} | {str(ai) for ai in range(7250, 7260)}
NOT_HELD = ("iso4217", "iso3166", "iso3166999", "iso3166alpha2", "packagetype", "mediatype", "iban",
            "couponcode", "couponposoffer")


def table(path):
    entries = []
    for line in open(path, encoding="utf-8"):
        if line[0] == "#" or not line.strip():
            continue
        ais, flags, spec = line.split(" # ")[0].rstrip("\n").split(" ", 2)
        parts = []
        for word in spec.split(" "):
            m = re.fullmatch(r"(\[)?([NXYZ])(\.\.)?(\d+)\]?((?:,\w+)*)", word)
            if not m:
                break
            parts.append((bool(m[1]), m[2], 1 if m[3] else int(m[4]), int(m[4]),
                          [x for x in m[5].split(",") if x]))
        first, _, last = ais.partition("-")
        for ai in range(int(first), int(last or first) + 1):
            entries.append((str(ai).zfill(len(first)), flags, parts))
    return entries


def check10(digits):
    total = sum(int(d) * (3 if i % 2 == 0 else 1) for i, d in enumerate(reversed(digits)))
    return str(-total % 10)


def csumalpha(text):
    primes = [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83]
    total = sum(SETS["X"].index(c) * p for c, p in zip(reversed(text), primes)) % 1021
    s32 = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
    return s32[total >> 5] + s32[total & 31]


def piece(rng, part, sloppy):
    _, kind, least, most, lints = part
    length = rng.choice([least, most, rng.randint(least, most), rng.randint(least, most)])
    text = "".join(rng.choice(SETS[kind]) for _ in range(length))
    if sloppy:
        return text
    date = f"{rng.randint(0, 99):02}{rng.randint(1, 12):02}{rng.randint(1, 28):02}"
    for lint in lints:
        if lint in ("gcppos1", "gcppos2"):
            at = int(lint[-1]) - 1
            if length < 5 + at:
                text = "".join(rng.choice(SETS["N"]) for _ in range(max(length, 5 + at)))[:most]
            text = text[:at] + "".join(rng.choice(SETS["N"]) for _ in range(4)) + text[at + 4:]
        elif lint == "yymmd0":
            text = date if rng.random() < 0.7 else date[:4] + "00"
        elif lint == "yymmdd":
            text = date
        elif lint == "yyyymmdd":
            text = rng.choice(["19", "20"]) + date
        elif lint == "hhmi":
            text = f"{rng.randint(0, 23):02}{rng.randint(0, 59):02}"
        elif lint == "hh":
            text = f"{rng.randint(0, 23):02}"
        elif lint in ("mi", "ss"):
            text = f"{rng.randint(0, 59):02}"
        elif lint == "zero":
            text = "0"
        elif lint == "hyphen":
            text = "-"
        elif lint in ("yesno", "winding", "iso5218"):
            text = rng.choice("01")
        elif lint == "latitude":
            text = f"{rng.randint(0, 1800000000):010}"
        elif lint == "longitude":
            text = f"{rng.randint(0, 3600000000):010}"
        elif lint == "pieceoftotal":
            total = rng.randint(1, 99)
            text = f"{rng.randint(1, total):02}{total:02}"
        elif lint == "posinseqslash":
            total = rng.randint(1, 9)
            text = f"{rng.randint(1, total)}/{total}"
        elif lint == "pcenc":
            text = text.replace("%", "%41")[:most]
            text = re.sub(r"%.?$", "A", text)
        elif lint == "importeridx":
            text = rng.choice("-_aZ5")
        elif lint == "iso3166":
            text = "756"
        elif lint == "iso3166999":
            text = "999"
        elif lint == "iso3166alpha2":
            text = "CH"
        elif lint == "iso4217":
            text = "756"
        elif lint == "nozeroprefix":
            text = "1" + text[1:]
        elif lint == "nonzero":
            text = "1" + text[1:]
        elif lint == "hasnondigit":
            text = text[:6] + "A" + text[7:]
    if "csum" in lints:
        text = text[:-1] + check10(text[:-1])
    if "csumalpha" in lints:
        text = text[:-2] if len(text) > 8 else text + "A" * 6
        text = text[:23] + csumalpha(text[:23])
    return text


def value(rng, parts, sloppy):
    out = ""
    for part in parts:
        if part[0] and rng.random() < 0.5:
            break
        out += piece(rng, part, sloppy)
    return out


def joined(pairs):
    """With separators as GS1's published list says."""
    out = ""
    for n, (ai, text) in enumerate(pairs):
        last = n + 1 == len(pairs)
        out += ai + text
        try:
            needs = GS1ApplicationIdentifier.extract(ai).separator_required
        except ParseError:
            needs = True
        out += GS if needs and not last else ""
    return out


def is_short_of(ai, text, entries):
    parts = next(parts for known, _, parts in entries if known == ai)
    try:
        counted = not GS1ApplicationIdentifier.extract(ai).separator_required
    except ParseError:
        counted = False
    return counted and len(text) != sum(part[3] for part in parts)


def torn(rng, raw):
    at = rng.randrange(len(raw))
    return rng.choice([
        lambda: raw.replace(GS, ""),
        lambda: raw[:at] + raw[at + 1:],
        lambda: raw[:at] + rng.choice(SETS["X"] + GS + " ^~") + raw[at + 1:],
        lambda: raw[:at] + rng.choice("0123456789" + GS) + raw[at:],
        lambda: raw[:at],
    ])()


def make(count, seed, path):
    rng = random.Random(seed)
    entries = table(path)
    for _ in range(count):
        pairs = []
        for ai, _flags, parts in rng.sample(entries, rng.randint(1, 6)):
            text = value(rng, parts, sloppy=rng.random() < 0.06)
            if rng.random() < 0.04:
                text = text[:-1] if rng.random() < 0.5 else text + rng.choice(SETS["X"])
            pairs.append([ai, text])
        raw = joined(pairs)
        if any(is_short_of(ai, text, entries) for ai, text in pairs):
            # What follows a pre-defined length is found by counting: this is another string.
            print(json.dumps({"raw": raw, "pairs": None}))
        elif rng.random() < 0.35:
            print(json.dumps({"raw": torn(rng, raw), "pairs": None}))
        else:
            print(json.dumps({"raw": raw, "pairs": pairs}))


def right(pairs):
    """`None` where zint takes the elements, else what it says."""
    symbol = zint.Symbol()
    symbol.symbology = zint.Symbology.DATAMATRIX
    symbol.input_mode = zint.InputMode.GS1
    try:
        symbol.encode("".join(f"[{ai}]{text}" for ai, text in pairs))
    except Exception as error:  # the binding raises RuntimeError with zint's text
        return str(error)
    return symbol.errtxt or None


def cut(raw):
    try:
        message = GS1Message.parse(raw)
    except ParseError:
        return None
    return [[one.ai.ai, one.value] for one in message.element_strings]


def unique(pairs):
    seen = []
    for pair in pairs:
        if pair not in seen:
            seen.append(pair)
    return seen


def listed(case, says, entries):
    """A disagreement that is a decision: its name; `None` where it is none."""
    ours, pairs = case["ours"], case["pairs"] or case["ours"] or []
    names = [ai for ai, _ in pairs]
    if ours is None and case["refused"] == "patient_identifier":
        return "a patient is refused"
    if says and re.search(r"Invalid AI \(804[0-3]\)", says) and ours == unique(cut(case["raw"]) or []):
        return "younger than zint, cut alike by biip"
    if ours is None and case["refused"] == "contradiction":
        return "one identifier with two values is refused"
    if says and "(717)" in says:
        return "an identifier that zint's table does not have yet"
    lints = {lint for ai in names for part in entries.get(ai, []) for lint in part[4]}
    if ours is not None and says and lints & set(NOT_HELD):
        m = re.search(r"AI \((\d+)\)", says)
        own = {lint for part in entries.get(m[1] if m else "", []) for lint in part[4]}
        if own & set(NOT_HELD):
            return "lists that are not held"
    return None


def hold(path):
    entries = {ai: parts for ai, _, parts in table(path)}
    counts = collections.Counter()
    for line in sys.stdin:
        case = json.loads(line)
        ours = case["ours"]
        if case["pairs"] is not None:
            says = right(case["pairs"])
            agree = (says is None) == (ours is not None)
            if agree and ours is not None and unique(case["pairs"]) != ours:
                print("differs: other elements", line, end="")
            kind = "taken by both" if ours is not None else "refused by both"
        elif ours is not None:
            says = right(ours)
            agree = says is None
            kind = "torn, and taken by both"
        else:
            counts["torn, and refused"] += 1
            continue
        if agree:
            counts[kind] += 1
        else:
            why = listed(case, says, entries)
            counts[why or "?"] += 1
            if why is None:
                print("differs:", says, line, end="")
        if agree and ours is not None:
            other = cut(case["raw"])
            if other is None:
                counts["biip says nothing"] += 1
            elif unique(other) != ours:
                print("differs: biip has", other, line, end="")
            else:
                counts["cut alike by biip"] += 1
    for name, count in sorted(counts.items()):
        print(f"{count:8} {name}")


def hibc(count, seed):
    """Labels whose check character zint reckoned."""
    rng = random.Random(seed)
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    marks = "-. $+%"
    for _ in range(count):
        body = rng.choice(letters) + "".join(rng.choice(letters + SETS["N"]) for _ in range(3))
        body += "".join(rng.choice(letters + SETS["N"]) for _ in range(rng.randint(1, 13)))
        body += rng.choice(SETS["N"])
        if rng.random() < 0.7:
            lot = "".join(rng.choice(letters + SETS["N"] + marks) for _ in range(rng.randint(1, 17)))
            body += "/$" + rng.choice(["", "+"]) + lot.lstrip("+$ ").rstrip() + "7"
        symbol = zint.Symbol()
        symbol.symbology = zint.Symbology.HIBC_39
        symbol.encode(body)
        print(json.dumps({"body": "+" + body, "label": symbol.text.strip("*")}))


if __name__ == "__main__":
    what, rest = sys.argv[1], sys.argv[2:]
    if what == "make":
        make(int(rest[0]), int(rest[1]), rest[2])
    elif what == "hold":
        hold(rest[0])
    else:
        hibc(int(rest[0]), int(rest[1]))
