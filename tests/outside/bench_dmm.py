"""A bench multimeter for the general-purpose instrument simulator `sinstruments` (PyPI, GPL; run
as a program of its own, never linked).

The simulator speaks; this file only says what a multimeter across a measuring network answers.
The asset is of class II: 23.0 uA of touch current in normal polarity, 19.0 uA in reversed, as
millivolts across 1 kohm. `SIM:` commands are the hands at the bench: supply and polarity.
"""
from sinstruments.simulator import BaseDevice

OTHERS = {"VOLT:DC": 0.0001, "VOLT": 0.0001, "RES": 11000.2, "FRES": 0.1}
LEAKAGE = {"NORMAL": 0.0230, "REVERSED": 0.0190}


class BenchDmm(BaseDevice):
    newline = b"\n"

    def __init__(self, name, **kwargs):
        super().__init__(name, **kwargs)
        self.function, self.errors, self.count = "VOLT", [], 0
        self.live, self.polarity = False, "NORMAL"

    def value(self):
        if self.function == "VOLT:AC":
            return LEAKAGE[self.polarity] if self.live else 0.0001
        return OTHERS[self.function]

    def configure(self, function):
        if function == "VOLT:AC" or function in OTHERS:
            self.function = function
        else:
            self.errors.append('-224,"Illegal parameter value"')

    def simulate(self, what, word):
        if what == "SUPPLY":
            self.live = word == "ON"
        else:
            self.polarity = word
        return b"OK\r\n"

    def handle_message(self, line):
        command = line.strip().decode("ascii", "replace").upper()
        if command == "*IDN?":
            return b"GENERIC,BENCH-DMM,0001,1.0\r\n"
        if command.startswith("CONF:"):
            return self.configure(command[5:].split()[0])
        if command == "CONF?":
            return f'"{self.function} +1.000000E+01,+1.000000E-06"\r\n'.encode()
        if command == "READ?":
            self.count += 1
            return b"%+.8E\r\n" % (self.value() * (1 + 1e-4 * (self.count % 3)))
        if command == "SYST:ERR?":
            return (self.errors.pop(0) if self.errors else '+0,"No error"').encode() + b"\r\n"
        if command.startswith("SIM:"):
            return self.simulate(*command[4:].split())
        self.errors.append('-113,"Undefined header"')
        return None
