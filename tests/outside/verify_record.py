"""Checks one sealed record as a stranger would who has nothing but what its first line says:
Python's library and the openssl command. Shares no code with the program.

verify_record.py RECORD.jsonl KEY.pub.pem: what the record says, as one JSON object. Exit 1 with a
sentence where something does not hold. That the key is the station's must be known from paper.
"""
import hashlib
import json
import pathlib
import subprocess
import sys
from fractions import Fraction

record, key = pathlib.Path(sys.argv[1]), sys.argv[2]
book, head = record.read_bytes(), record.with_suffix(".head")


def must(holds, what):
    if not holds:
        sys.exit("REFUSED: " + what)


# `verify`: sha256sum -c ID.head; openssl pkeyutl ...; the fingerprint of KEY.
line = hashlib.sha256(book).hexdigest() + "  " + record.name + "\n"
must(head.read_bytes() == line.encode(), "the head is not that of this file")
checked = subprocess.run(
    ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", key, "-rawin", "-in", head,
     "-sigfile", record.with_suffix(".sig")], capture_output=True)
must(checked.returncode == 0, "the signature of the head is not of this key")
der = subprocess.run(["openssl", "pkey", "-pubin", "-in", key, "-outform", "DER"],
                     capture_output=True, check=True).stdout

# `verify`: each mark line is the SHA-256 of all bytes above it.
facts, above, marked = [], hashlib.sha256(), False
for line in book.splitlines(keepends=True):
    stored = json.loads(line)
    marked = "mark" in stored
    must(not marked or stored["mark"] == above.hexdigest(), "a mark is wrong")
    above.update(line)
    facts += [] if marked else [stored]
must(marked and book.endswith(b"\n"), "the last lines have no mark")


# `legend`: what rests on what, down to the bytes.
def kinds(*names):
    return [fact for fact in facts if fact["k"] in names]


given = {fact["what"]: fact for fact in kinds("given")}
setups = {one["id"]: one["meter"] for one in given["instruments"]["setups"]}
steps = {step["step"]: step for fact in kinds("given") if fact["what"] == "steps"
         for step in fact["list"]}
meters = {one["id"]: [one["serial"], one["calibration_due"]]
          for one in given["instruments"]["list"]}
raw, streams, tapped, readings = {}, {}, {}, {}
for fact in kinds("tap", "in"):
    link = fact["link"]
    if fact["k"] == "tap":
        streams[link], tapped[link] = 0, fact.get("instrument")
        continue
    sent = fact["raw"].encode("latin-1")
    must(fact["at"] == streams[link], "bytes are missing")
    streams[link] += len(sent)
    raw.setdefault(link, hashlib.sha256()).update(sent)
    for place, read in enumerate(fact.get("read", [])):
        readings[fact["seq"], place] = (read.get("s"), tapped[link])
values = {fact["seq"]: fact for fact in kinds("value")}
for value in values.values():
    named = steps[value["step"]]["instrument"]
    meter = setups.get(named, named)
    for seq, place in value["from"]:
        must(readings[seq, place] == (value["step"], meter), "a value rests on other readings")


def size(text, unit):
    """In ohms, amperes or volts, exactly; a bound such as above(2) by its number."""
    power = {"G": 9, "M": 6, "k": 3, "m": -3, "u": -6, "n": -9}
    prefix = unit[0] if unit not in ("Ohm", "A", "V") else ""
    number = text.removeprefix("above(").removeprefix("below(").removesuffix(")")
    return Fraction(number) * Fraction(10) ** power.get(prefix, 0)


def follows(verdict):
    """The verdict comes out of its values, its corrections and its limit once more."""
    unit = values[verdict["from"][0]]["unit"]
    items = [size(values[seq]["value"], values[seq]["unit"]) for seq in verdict["from"]]
    for link in verdict["chain"]:
        must([size(text, unit) for text in link["of"]] == items, "a correction has other values")
        if link["do"] == "lead_null":
            items = [abs(x) - size(null, unit) for x, null in zip(items, link["minus"])]
        elif link["do"] == "largest_magnitude":
            items = [max(map(abs, items))]
        elif link["do"] == "smallest":
            items = [min(items)]
        else:
            items = [x * Fraction(link["times"]) for x in items]
        unit = link.get("unit", unit)
    limit = verdict["limit"]
    edge, expanded = size(limit["value"], limit["unit"]), Fraction(0)
    if verdict["rule"] == "guard_band":
        expanded = size(verdict["uncertainty"]["expanded"], verdict["unit"])
    good = items[0] <= edge - expanded if limit["direction"] == "max" \
        else items[0] >= edge + expanded
    must(items == [size(verdict["value"], verdict["unit"])], "a verdict has another value")
    must(verdict["verdict"] == ("pass" if good else "fail"), "a verdict has another word")


verdicts = {}
for verdict in kinds("verdict"):
    limit, word = verdict["limit"], verdict["verdict"]
    measured = [values[seq]["step"] for seq in verdict.get("from", []) if seq in values]
    if measured and word in ("pass", "fail"):
        follows(verdict)
    must(word != "undecided" or verdict["reasons"], "a verdict is undecided without a reason")
    verdicts[verdict["step"]] = [
        verdict["shown"], verdict["unit"],
        limit and limit["value"] + " " + limit["unit"], limit and limit["clause"],
        word, sorted({steps[step]["instrument"] for step in measured})]
print(json.dumps({
    "id": facts[0]["id"], "asset": facts[0]["asset"], "key": hashlib.sha256(der).hexdigest(),
    "operator": given["operator"]["operator"]["name"], "meters": meters, "verdicts": verdicts,
    "raw": {link: stream.hexdigest() for link, stream in raw.items()},
    "set_aside": [fact["value"] for fact in kinds("drop")],
    "declared": sorted({fact.get("what", fact["k"]) for fact in facts
                        if fact.get("known") == "declared"}),
}))
