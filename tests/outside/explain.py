"""Does a verdict that was told by `tapline explain` again, from the printed text alone, with
Python's fractions. Reads the text of one verdict; prints what does not agree, or the word that
comes out."""

import re
import sys
from fractions import Fraction

PREFIX = {"": 1, "u": Fraction(1, 10**6), "m": Fraction(1, 1000), "k": 1000, "M": 10**6, "G": 10**9}
UNIT = r"(u|m|k|M|G|)(Ohm|A|V)"
NUMBER = r"[-+]?[0-9.]+(?:[eE][-+]?\d+)?(?:/[0-9]+)?"


def number(text):
    """A decimal or a fraction, exactly."""
    above, _, below = text.partition("/")
    return Fraction(above) / (Fraction(below) if below else 1)


def sized(text, unit):
    """In base units."""
    prefix = re.fullmatch(UNIT, unit).group(1)
    return number(text) * PREFIX[prefix]


def captured(lines, wrong):
    """Each captured value is one of its readings, the largest of a window."""
    values = []
    for at, line in enumerate(lines):
        found = re.search(r"captured (> |< |)(\S+) (\S+) by (\w+), over (\d+) readings", line)
        if not found:
            continue
        bound, value, unit, rule, count = found.groups()
        readings = []
        for below in lines[at + 1 :]:
            if not below.startswith("  "):
                break
            read = re.search(r"read by \S+ as \w+ (> |< |)(\S+)(?: (\S+))?", below)
            if read and re.fullmatch(NUMBER, read.group(2)):
                readings.append(abs(sized(read.group(2), read.group(3).strip())))
                raw = re.search(r'"(.*)", read by', below).group(1)
                if not any(n in raw for n in (read.group(2), read.group(2).lstrip("+-"))):
                    if not same_digits(raw, read.group(2)):
                        wrong.append(f"{read.group(2)} does not stand in the bytes {raw}")
        if len([l for l in lines[at + 1 : at + 1 + int(count)] if l.startswith("  ")]) != int(count):
            wrong.append(f"{count} readings are named, and others are told: {line}")
        if not bound and readings and rule == "worst_over":
            if abs(sized(value, unit)) != max(readings):
                wrong.append(f"{value} {unit} is not the largest of its readings")
        values.append((bound, value, unit))
    return values


def same_digits(raw, text):
    """`1.5903E-01` in the bytes, `0.15903` as read."""
    found = re.search(r"[-+]?[0-9.]+[eE][-+]?\d+", raw)
    return bool(found) and Fraction(found.group()) == number(text)


def corrections(lines, wrong):
    """Every sum that is written down comes out; gives the last results."""
    last = []
    for line in lines:
        volts = re.match(rf"volts over the network's 1 kohm: (.*) {UNIT}( \(|$)", line)
        if volts:
            unit = volts.group(2) + volts.group(3)
            last = []
            for sum_ in volts.group(1).split(", "):
                of, of_unit, gives = re.fullmatch(rf"({NUMBER}) (\S+) / 1000 Ohm = ({NUMBER})", sum_).groups()
                if sized(of, of_unit) / 1000 != sized(gives, unit):
                    wrong.append(f"{of} {of_unit} over 1 kohm is not {gives} {unit}")
                last.append(number(gives))
            continue
        minus = re.findall(rf"\|({NUMBER})\| - ({NUMBER}) = ({NUMBER})", line)
        times = re.findall(rf"({NUMBER}) x ({NUMBER}) = ({NUMBER})", line)
        for of, less, gives in minus:
            if abs(number(of)) - number(less) != number(gives):
                wrong.append(f"|{of}| - {less} is not {gives}")
        for of, by, gives in times:
            if number(of) * number(by) != number(gives):
                wrong.append(f"{of} x {by} is not {gives}")
        if minus or times:
            last = [number(row[2]) for row in minus or times]
        picks = re.match(rf"the (largest|smallest) of: ({NUMBER}(?:, {NUMBER})*) ", line)
        if picks:
            of = [number(one) for one in picks.group(2).split(", ")]
            if last and [abs(one) for one in of] != [abs(one) for one in last]:
                wrong.append(f"{line} picks from {last}")
            sizes = [abs(one) for one in of]
            last = [max(sizes) if picks.group(1) == "largest" else min(sizes)]
    return last


def verdict(lines, wrong, last):
    """The word that result, limit, uncertainty and rule give."""
    text = "\n".join(lines)
    result = re.search(r"^result: (> |< |)(\S+) (\S+), shown as (\S+)", text, re.M)
    limit = re.search(r"^limit: (at most|at least) (\S+) (\S+?)(, the limit itself excluded|), ", text, re.M)
    rule = re.search(r"^rule: ([\w ]+);", text, re.M)
    if not (result and limit and rule):
        return None
    bound, value, unit, _ = result.groups()
    if last and number(value) != last[0] and not bound:
        wrong.append(f"the result {value} is not the last correction's {last[0]}")
    side, edge, edge_unit, strict = limit.groups()
    sign = 1 if side == "at most" else -1
    size, edge = sign * sized(value, unit), sign * sized(edge, edge_unit)
    share = re.search(r"is (\S+) % of the limit", text)
    if share and re.fullmatch(NUMBER, share.group(1)) and not bound:
        exact = abs(size / edge) * 100
        if abs(exact - Fraction(share.group(1))) > Fraction(5, 100):
            wrong.append(f"{value} {unit} is not {share.group(1)} % of the limit")
    if bound:
        worse = (bound == "> ") == (sign == 1)
        return "fail" if worse and size >= edge else "pass" if not worse and size <= edge else None
    doubt = re.search(r"^uncertainty: u = (\S+) \S+, k = (\S+), expanded (\S+) ", text, re.M)
    if doubt:
        u, k, expanded = (float(one) for one in doubt.groups())
        # Four digits each; the factor is told rounded up to hundredths.
        if not u * (k - 0.01) * 0.9995 <= expanded <= u * k * 1.0005:
            wrong.append(f"{u} x {k} is not {expanded}")
    within = (lambda x, y: x < y) if strict else (lambda x, y: x <= y)
    if rule.group(1) == "simple acceptance":
        return "pass" if within(size, edge) else "fail"
    guard = re.search(rf"^accepted: (?:at most|at least) (\S+) (\S+) [-+] (\S+) (\S+)", text, re.M)
    width = sized(guard.group(3), guard.group(4))
    if rule.group(1) == "guard band":
        return "pass" if within(size, edge - width) else "fail"
    if size < edge - width:
        return "pass"
    if within(size, edge):
        return "conditional pass"
    return "conditional fail" if size <= edge + width else "fail"


def main():
    lines = sys.stdin.read().splitlines()
    wrong = []
    values = captured(lines, wrong)
    word = verdict(lines, wrong, corrections(lines, wrong))
    said = re.search(r"^verdict: ([A-Z a-z]+?) \(", "\n".join(lines), re.M)
    if not said:
        print("there is no verdict in it")
        sys.exit(1)
    said = said.group(1).lower()
    if said != "undecided" and values and word != said:
        wrong.append(f"it comes out as {word}, and {said} is told")
    for one in wrong:
        print(one)
    print(f"{said}: {len(values)} values")
    sys.exit(1 if wrong else 0)


main()
