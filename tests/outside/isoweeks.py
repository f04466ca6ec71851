"""Writes protocols/src/due/isoweeks.txt: for each year its first ISO Monday and how many weeks it
has, as Python's datetime counts them."""

from datetime import date

print("# year, Monday of its first week, number of its weeks: tests/outside/isoweeks.py")
for year in range(1980, 2380):
    weeks = date(year, 12, 28).isocalendar().week
    print(year, date.fromisocalendar(year, 1, 1), weeks)
