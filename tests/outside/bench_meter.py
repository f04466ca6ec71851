"""What a multimeter across a measuring network says, whichever simulator speaks for it.

The asset is of class II: 23.0 uA of touch current in normal polarity, 19.0 uA in reversed, as
millivolts across 1 kohm. `SIM:` commands are the hands at the bench: supply and polarity.
"""

OTHERS = {"VOLT:DC": 0.0001, "VOLT": 0.0001, "RES": 11000.2, "FRES": 0.1}
LEAKAGE = {"NORMAL": 0.0230, "REVERSED": 0.0190}


class Meter:
    def __init__(self, model):
        self.model = model
        self.function, self.errors, self.count = "VOLT", [], 0
        self.live, self.polarity = False, "NORMAL"
        self.last, self.status = "+9.91000000E+37", 128

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
        return "OK"

    def answer(self, command):
        """The answer without its end, None where there is none."""
        command = command.strip().upper()
        if command == "*IDN?":
            return f"GENERIC,{self.model},0001,1.0"
        if command.startswith("CONF:"):
            return self.configure(command[5:].split()[0])
        if command == "CONF?":
            return f'"{self.function} +1.000000E+01,+1.000000E-06"'
        if command == "READ?":
            self.count += 1
            self.last = "%+.8E" % (self.value() * (1 + 1e-4 * (self.count % 3)))
            return self.last
        if command == "FETC?":
            return self.last
        if command == "*ESR?":
            status, self.status = self.status, 0
            return str(status)
        if command in ("SYST:REM", "SYST:LOC"):
            return None
        if command == "SYST:ERR?":
            return self.errors.pop(0) if self.errors else '+0,"No error"'
        if command.startswith("SIM:"):
            return self.simulate(*command[4:].split())
        self.errors.append('-113,"Undefined header"')
        return None
