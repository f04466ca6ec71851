"""A bench multimeter for `lewis`. The simulator cuts lines and speaks; `bench_meter.py` says what."""
from bench_meter import Meter
from lewis.adapters.stream import Cmd, StreamInterface
from lewis.devices import Device


class SimulatedDmm(Device):
    def __init__(self):
        super().__init__()
        self.meter = Meter("LEWIS-DMM")


class DmmStream(StreamInterface):
    commands = {Cmd("answer", pattern=r"^(.*)$", argument_mappings=(bytes.decode,))}
    in_terminator = "\n"
    out_terminator = "\n"
    # lewis 1.4.0 looks for it when a client leaves, and ends where it is not.
    handler = None

    def answer(self, command):
        return self.device.meter.answer(command)

    def handle_error(self, request, error):
        raise error
