"""Bundles of FHIR, one JSON text a line on standard input; findings as JSON lists, one a line.

Two tools of other makes: fhir.resources (pydantic models of R4B, PyPI) for structure, and
fhirpathpy (PyPI) with its R4 model for the invariants of the specification (obs-3, obs-6, ref-1,
tim-… are quoted by their names) and for what the models let pass: closed value sets
(http://hl7.org/fhir/R4/valueset-observation-status.html and its kin) and references.
UCUM codes: the case-sensitive codes of https://ucum.org/ucum (section 4), as far as they occur.
"""

import json
import sys

import fhirpathpy
from fhirpathpy.models import models
from fhir.resources.R4B.bundle import Bundle

MODEL = models["r4"]
STATUS = {
    "Observation": "registered preliminary final amended corrected cancelled entered-in-error unknown",
    "DiagnosticReport": "registered partial preliminary final amended corrected appended cancelled "
    "entered-in-error unknown",
    "Task": "draft requested received accepted rejected ready cancelled in-progress on-hold failed "
    "completed entered-in-error",
    "Device": "active inactive entered-in-error unknown",
}
INTERPRETATION = {"N", "H", "L", "IND"}
ABSENT = {"not-performed", "error", "unknown", "temp-unknown", "masked"}
UCUM = {"Ohm", "mOhm", "kOhm", "MOhm", "GOhm", "uA", "mA", "A", "nA", "V", "mV", "kV", "Hz", "kHz",
        "Cel", "%", "s", "ms", "W", "V.A", "m", "F", "nF", "pF", "1"}


def path(resource, expression):
    return fhirpathpy.evaluate(resource, expression, None, MODEL)


def structure(text):
    try:
        Bundle.model_validate_json(text)
    except Exception as error:  # one of many kinds
        return ["structure: " + str(error).splitlines()[-1]]
    return []


def invariants(bundle):
    found = []
    urls = {entry["fullUrl"] for entry in bundle["entry"]}
    if len(urls) != len(bundle["entry"]):
        found.append("bdl-7: fullUrl twice")
    for reference in path(bundle, "descendants().reference"):
        if reference not in urls:
            found.append(f"reference leads nowhere: {reference}")
    for entry in bundle["entry"]:
        one = entry["resource"]
        kind = one["resourceType"]
        if kind in STATUS and one.get("status") not in STATUS[kind].split():
            found.append(f"{kind}.status is {one.get('status')}")
        if kind != "Observation":
            continue
        if path(one, "dataAbsentReason.exists() and value.exists()") == [True]:
            found.append("obs-6: a value and a reason why there is none")
        if path(one, "dataAbsentReason.empty() and value.empty()") == [True]:
            found.append("neither a value nor a reason")
        if path(one, "referenceRange.all(low.exists() or high.exists() or text.exists())") != [True]:
            found.append("obs-3: a range of nothing")
        codes = path(one, "interpretation.coding.where(system.startsWith('http://terminology')).code")
        if len(codes) != 1 or codes[0] not in INTERPRETATION:
            found.append(f"interpretation: {codes}")
        for code in path(one, "dataAbsentReason.coding.code"):
            if code not in ABSENT:
                found.append(f"dataAbsentReason: {code}")
        for code in path(one, "descendants().where(system='http://unitsofmeasure.org').code"):
            if code not in UCUM:
                found.append(f"no code of UCUM: {code}")
        # High and low follow from the value and the range, as numbers of Python's decimal.
        found += flags(one, codes)
    return found


def flags(one, codes):
    from decimal import Decimal

    ranges = one.get("referenceRange", [])
    value = one.get("valueQuantity")
    if not value or value.get("comparator") or not ranges or "IND" in codes:
        return []
    high, low = ranges[0].get("high"), ranges[0].get("low")
    number = abs(Decimal(str(value["value"])))
    same = lambda limit: limit["code"] == value["code"]
    if high and same(high) and number > Decimal(str(high["value"])) and codes != ["H"]:
        return ["above its range and not H"]
    if low and same(low) and number < Decimal(str(low["value"])) and codes != ["L"]:
        return ["below its range and not L"]
    if high and same(high) and number < Decimal(str(high["value"])) and codes == ["H"]:
        return ["within its range and H"]
    return []


for line in sys.stdin:
    found = structure(line)
    try:
        found += invariants(json.loads(line))
    except Exception as error:
        found.append(f"invariants: {error!r}")
    print(json.dumps(found), flush=True)
