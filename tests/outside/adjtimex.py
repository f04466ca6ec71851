"""Says whether the kernel calls its clock synchronised, by adjtimex(2) through ctypes.

The layout of `struct timex` is that of <sys/timex.h> on 64-bit Linux: `status` lies at byte 40.
STA_UNSYNC is 0x0040.
"""

import ctypes

state = ctypes.create_string_buffer(256)
if ctypes.CDLL(None, use_errno=True).adjtimex(state) < 0:
    raise SystemExit("adjtimex was refused")
print("unsynced" if ctypes.c_int.from_buffer(state, 40).value & 0x40 else "synced")
