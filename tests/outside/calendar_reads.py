"""A calendar on standard input, read by icalendar (PyPI): its to-dos as JSON lines."""

import json
import sys

import icalendar

calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
print(json.dumps({"version": str(calendar["VERSION"]), "errors": [str(e) for e in calendar.errors]}))
for todo in calendar.walk("VTODO"):
    print(json.dumps({
        "uid": str(todo["UID"]),
        "due": todo.decoded("DUE").isoformat(),
        "sequence": int(todo["SEQUENCE"]),
        "summary": str(todo["SUMMARY"]),
        "location": str(todo.get("LOCATION", "")),
        "description": str(todo.get("DESCRIPTION", "")),
        "stamp": todo.decoded("DTSTAMP").isoformat(),
        "errors": [str(e) for e in todo.errors],
    }))
