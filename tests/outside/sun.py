"""Makes sun.json, the table that the sun's times are checked against: sunrise and sunset by the library astral.

    python3 -m venv venv && venv/bin/pip install astral==3.2
    venv/bin/python tests/outside/sun.py > tests/outside/sun.json

Times are minutes after midnight of the day, local time.
"""

import json
from datetime import date, datetime, time, timedelta, timezone

from astral import Observer
from astral.sun import sunrise, sunset

# Thousandths of a degree north and east, and the zone's distance from UTC in minutes.
PLACES = [
    (53_520, 8_110, 60),
    (51_480, 0, 0),
    (-33_870, 151_210, 600),
    (-54_800, -68_300, -180),
    (0, -78_500, -300),
    (40_710, -74_010, -240),
    (64_150, -21_940, 0),
    (27_720, 85_320, 345),
]
DAYS = [date(2026, month, day) for month in range(1, 13) for day in (3, 20)] + [date(2032, 2, 29)]


def minutes(moment, day, zone):
    midnight = datetime.combine(day, time(), zone)
    return round((moment - midnight).total_seconds() / 60, 2)


rows = []
for north, east, offset in PLACES:
    zone = timezone(timedelta(minutes=offset))
    observer = Observer(north / 1000, east / 1000)
    for day in DAYS:
        rows.append(
            {
                "day": day.isoformat(),
                "north_thousandths": north,
                "east_thousandths": east,
                "offset_minutes": offset,
                "rise": minutes(sunrise(observer, day, tzinfo=zone), day, zone),
                "set": minutes(sunset(observer, day, tzinfo=zone), day, zone),
            }
        )
print("[\n" + ",\n".join(json.dumps(row) for row in rows) + "\n]")
