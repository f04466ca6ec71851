"""A general-purpose instrument-control client (PyVISA with PyVISA-py, PyPI) asks a meter.

Arguments: a resource, then messages. A query's answer is written as one line `message<TAB>answer`;
`READ?*3` asks three times. Resources are opened by name and never searched for: a search would
broadcast.
"""

import sys

import pyvisa

resource, *messages = sys.argv[1:]
visa = pyvisa.ResourceManager("@py")
meter = visa.open_resource(
    resource, read_termination="\n", write_termination="\n", timeout=10_000, open_timeout=10_000
)
for message in messages:
    text, _, times = message.partition("*") if "?*" in message else (message, "", "1")
    for _ in range(int(times)):
        if "?" in text or text.startswith("SIM:"):
            print(text, meter.query(text).rstrip("\r"), sep="\t")
        else:
            meter.write(text)
meter.close()
