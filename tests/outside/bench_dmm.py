"""A bench multimeter for the general-purpose instrument simulator `sinstruments` (PyPI, GPL; run
as a program of its own, never linked). The simulator speaks; `bench_meter.py` says what."""
from bench_meter import Meter
from sinstruments.simulator import BaseDevice


class BenchDmm(BaseDevice):
    newline = b"\n"

    def __init__(self, name, **kwargs):
        super().__init__(name, **kwargs)
        self.meter = Meter("BENCH-DMM")

    def handle_message(self, line):
        answer = self.meter.answer(line.decode("ascii", "replace"))
        return answer and answer.encode() + b"\r\n"
