"""The loop that a technician would write: pyserial, sqlite3, a commit for each reading.

own_loop.py DATABASE PORT...

Says `ready` when all ports are open. A number on standard input says how many readings there
were; it ends when it has as many, or when nothing came for two seconds.
"""

import json
import resource
import sqlite3
import sys
import threading
import time

import serial

PATIENCE_S = 2

lock = threading.Lock()
ages = []


def listen(port, name, database):
    while True:
        line = port.readline().decode("ascii", "replace").split()
        if len(line) != 3:
            continue
        with lock:
            database.execute(
                "INSERT INTO reading (at, port, function, value, unit) VALUES (?, ?, ?, ?, ?)",
                (time.time(), name, *line),
            )
            database.commit()
            # The value is the boot-time clock of whoever said it, modulo 1000 seconds.
            now = time.clock_gettime(time.CLOCK_BOOTTIME)
            ages.append((now - float(line[1])) % 1000)


def main():
    path, *names = sys.argv[1:]
    database = sqlite3.connect(path, check_same_thread=False)
    database.execute("CREATE TABLE reading (at REAL, port TEXT, function TEXT, value TEXT, unit TEXT)")
    database.commit()
    ports = [serial.Serial(name, 9600) for name in names]
    for port, name in zip(ports, names):
        threading.Thread(target=listen, args=(port, name, database), daemon=True).start()
    before = resource.getrusage(resource.RUSAGE_SELF)
    print("ready", flush=True)
    wanted, last, since = int(sys.stdin.readline()), 0, time.monotonic()
    while len(ages) < wanted and time.monotonic() - since < PATIENCE_S:
        if len(ages) != last:
            last, since = len(ages), time.monotonic()
        time.sleep(0.01)
    after = resource.getrusage(resource.RUSAGE_SELF)
    with lock:
        seen = sorted(ages)
        (stored,) = database.execute("SELECT count(*) FROM reading").fetchone()
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    print(
        json.dumps(
            {
                "readings": stored,
                "cpu_ms": round(cpu * 1000),
                "p50_us": round(seen[len(seen) // 2] * 1e6),
                "p99_us": round(seen[len(seen) * 99 // 100] * 1e6),
            }
        )
    )


main()
